'use strict';
// The desk: files are sent as they are dropped, each change of the form or the text is sent and the page drawn anew from the
// answer. What is true stands in the folder; this script keeps nothing.
const main = document.getElementById('main');
const said = document.getElementById('said');
const tell = (text) => { said.textContent = text; };
let queue = Promise.resolve();
let timer = 0;

// Draws the answer; what has the focus keeps it, what was unfolded stays so.
function draw(html) {
    const open = [...main.querySelectorAll('details[open]')].map((one) => one.id);
    const at = document.activeElement;
    const kept = at && at.id && main.contains(at) ? { id: at.id, value: at.value, from: at.selectionStart, to: at.selectionEnd, dirty: at.dirty, top: at.scrollTop } : null;
    main.innerHTML = html;
    for (const id of open) { const one = document.getElementById(id); if (one) one.open = true; }
    const again = kept && document.getElementById(kept.id);
    if (again) {
        if (kept.dirty) { again.value = kept.value; again.dirty = true; }
        again.focus({ preventScroll: true });
        if (kept.from != null && again.setSelectionRange) again.setSelectionRange(kept.from, kept.to);
        again.scrollTop = kept.top;
    }
    if (main.querySelector('[data-busy]')) setTimeout(() => ask('/part'), 300);
}

// One after the other; what is sent is made when its turn comes, so that it rests on the answer before.
function ask(path, make) {
    const wait = queue.then(async () => {
        const answer = await fetch(path, make ? { method: 'POST', body: make() } : {});
        const text = await answer.text();
        if (answer.ok) { tell(''); draw(text); } else { tell(text); }
        return answer.ok;
    }).catch(() => { tell('The program that serves this page has ended: start burnwright desk again.'); return false; });
    queue = wait;
    return wait;
}

const revision = () => document.getElementById('drop').dataset.revision;
const change = (path, more) => ask(path, () => JSON.stringify({ revision: revision(), ...more }));

function send(element) {
    clearTimeout(timer);
    if (!element?.dirty || !element.isConnected) return;
    element.dirty = false;
    const value = element.value;
    if (element.id === 'text') change('/text', { value }); else change('/set', { at: element.dataset.at, value });
}

const ours = (element) => element.id === 'text' || element.dataset?.at;
main.addEventListener('input', ({ target }) => {
    if (!ours(target)) return;
    target.dirty = true;
    clearTimeout(timer);
    // By its name: an answer may have drawn it anew meanwhile.
    timer = setTimeout(() => send(document.getElementById(target.id)), 700);
});
main.addEventListener('change', ({ target }) => {
    if (target.id === 'pick') take(target.files); else if (ours(target)) send(target);
});
main.addEventListener('submit', (event) => event.preventDefault());
main.addEventListener('click', ({ target }) => {
    const button = target.closest('[data-post]');
    if (button) change(button.dataset.post, { value: button.dataset.value ?? '' });
});
document.addEventListener('keydown', (event) => {
    if (event.key === 'Enter' && (event.ctrlKey || event.metaKey)) {
        if (ours(event.target)) send(event.target);
        queue.then(() => document.getElementById('run-0')?.click());
    }
});

async function take(files) {
    for (const file of [...files]) {
        tell(`Copying ${file.name} …`);
        if (!await ask(`/drop/${encodeURIComponent(file.name)}`, () => file)) return;
    }
}
for (const kind of ['dragenter', 'dragover', 'dragleave', 'drop']) {
    document.addEventListener(kind, (event) => {
        event.preventDefault();
        document.getElementById('drop')?.classList.toggle('over', kind === 'dragenter' || kind === 'dragover');
        if (kind === 'drop') take(event.dataTransfer.files);
    });
}

// A stretch drawn over a picture of the first log is the window.
let drag = null;
const time = (event, strip) => {
    const frame = strip.querySelector('.frame').getBoundingClientRect();
    const share = Math.min(1, Math.max(0, (event.clientX - frame.left) / frame.width));
    const [from, to] = strip.dataset.x.split(' ').map(Number);
    return from + share * (to - from);
};
main.addEventListener('pointerdown', (event) => {
    const strip = event.target.closest('[data-window] .strip');
    if (!strip || event.button) return;
    const mark = document.createElement('div');
    mark.className = 'stretch';
    strip.querySelector('.frame').append(mark);
    drag = { strip, mark, start: time(event, strip), x: event.clientX };
});
addEventListener('pointermove', (event) => {
    if (!drag) return;
    const frame = drag.strip.querySelector('.frame').getBoundingClientRect();
    const ends = [drag.x, event.clientX].sort((a, b) => a - b);
    drag.mark.style.left = `${Math.max(0, ends[0] - frame.left)}px`;
    drag.mark.style.width = `${ends[1] - ends[0]}px`;
});
addEventListener('pointerup', (event) => {
    if (!drag) return;
    const { strip, mark, start, x } = drag;
    const ends = [start, time(event, strip)].sort((a, b) => a - b).map((one) => `"${one.toFixed(2)} s"`);
    drag = null;
    mark.remove();
    if (Math.abs(event.clientX - x) > 6) change('/set', { at: 'reduce.window', value: `[${ends.join(', ')}]` });
});
if (main.querySelector('[data-busy]')) setTimeout(() => ask('/part'), 300);
