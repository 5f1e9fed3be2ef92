'use strict';
// The watched stand: each event is the newest state, drawn as it comes. Nothing is ever sent to the stand.
const by = (id) => document.getElementById(id);
const number = (value, digits) => value == null ? '–' : value.toFixed(digits).replace(/^-(?=[0.]*$)/, '').replace('-', '−');
const alarm = by('danger');
// A burn of two to four seconds, and what led to it.
const SPAN_S = 12;
const points = [];
let told = '';
let acknowledged = '';
let last = performance.now();

function draw() {
    const canvas = by('curve');
    const scale = devicePixelRatio || 1;
    const [wide, high] = [canvas.clientWidth, canvas.clientHeight];
    if (canvas.width !== wide * scale || canvas.height !== high * scale) [canvas.width, canvas.height] = [wide * scale, high * scale];
    const pen = canvas.getContext('2d');
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.clearRect(0, 0, wide, high);
    const now = points.at(-1)?.t ?? 0;
    while (points.length && points[0].t < now - SPAN_S) points.shift();
    const top = Math.max(1, ...points.map((one) => one.high)) * 1.1;
    const low = Math.min(0, ...points.map((one) => one.low)) * 1.1;
    const y = (value) => high - 18 - (value - low) / (top - low) * (high - 30);
    const x = (time) => wide - (now - time) / SPAN_S * (wide - 52);
    const style = getComputedStyle(document.documentElement);
    pen.font = '13px system-ui, sans-serif';
    pen.fillStyle = style.getPropertyValue('--faint');
    pen.strokeStyle = style.getPropertyValue('--grid');
    for (const value of [0, top / 2.2, top / 1.1]) {
        pen.beginPath(); pen.moveTo(48, y(value)); pen.lineTo(wide, y(value)); pen.stroke();
        pen.fillText(`${value.toFixed(value && value < 10 ? 1 : 0)} N`, 4, y(value) + 4);
    }
    pen.fillText(`the last ${SPAN_S} s`, 52, high - 4);
    pen.strokeStyle = style.getPropertyValue('--measured');
    pen.lineWidth = 2;
    pen.beginPath();
    for (const one of points) { pen.lineTo(x(one.t), y(one.high)); pen.lineTo(x(one.t), y(one.low)); }
    pen.stroke();
}

function show(state) {
    const phase = by('phase');
    if (phase.textContent !== state.phase) { phase.textContent = state.phase; phase.className = `phase ${state.phase}`; }
    by('thrust').textContent = number(state.thrust_n, 1);
    by('peak').textContent = number(state.peak_n, 1);
    by('time').textContent = number(state.time_s, 1);
    by('tilts').innerHTML = '';
    for (const [name, tilt] of state.tilt_deg) {
        const [box, term, value] = ['div', 'dt', 'dd'].map((kind) => document.createElement(kind));
        term.textContent = `tilt ${name}`;
        value.innerHTML = '<b></b> deg';
        value.firstChild.textContent = number(tilt, 2);
        box.append(term, value);
        by('tilts').append(box);
    }
    if (state.range_n) {
        points.push({ t: state.time_s, low: state.range_n[0], high: state.range_n[1] });
        draw();
    }
    by('link').textContent = state.problem ?? '';
    const verdict = JSON.stringify([state.told, state.report, state.ready]);
    if (verdict === told) return;
    told = verdict;
    by('verdict').replaceChildren();
    if (state.told) {
        const line = document.createElement('p');
        line.className = `verdict ${state.told.outcome}`;
        const words = document.createElement('span');
        words.textContent = [state.told.verdict, state.told.delivered].filter(Boolean).join(' ');
        line.append(words);
        by('verdict').append(line);
    }
    by('report').replaceChildren();
    if (state.report === 'written') {
        const link = document.createElement('a');
        [link.href, link.target, link.className, link.textContent] = ['/reduced/report.html', '_blank', 'open', 'Open the report of the full reduction'];
        by('report').append(link);
    } else if (state.report) {
        by('report').textContent = state.report;
    }
    by('rest').hidden = !state.ready.length;
    by('ready').replaceChildren(...state.ready.map((text) => {
        const line = document.createElement('li');
        line.textContent = text;
        return line;
    }));
    alarm.says = state.told?.danger ?? '';
    by('danger-says').textContent = alarm.says;
    by('danger-caution').textContent = state.told?.caution ?? '';
    if (!alarm.says) { acknowledged = ''; alarm.close(); } else if (alarm.says !== acknowledged && !alarm.open) alarm.showModal();
}

// It has to be read: Escape brings it back.
alarm.addEventListener('close', () => { if (alarm.says && alarm.says !== acknowledged) alarm.showModal(); });
by('seen').addEventListener('click', () => { acknowledged = alarm.says; alarm.close(); });
const events = new EventSource('/events');
events.onmessage = (event) => { last = performance.now(); show(JSON.parse(event.data)); };
events.onerror = () => { by('link').textContent = 'The program that serves this page does not answer: what you see is old.'; };
setInterval(() => {
    if (performance.now() - last > 3000 && !by('link').textContent) by('link').textContent = 'Nothing new for three seconds: the recorder may have stopped.';
}, 1000);
addEventListener('resize', draw);
