// Read-out, zoom and replay for the pictures over time. The page is whole without this; it fetches nothing.
// What is drawn is read back from the paths (src/render/plot/draw.rs).
(() => {
"use strict";
const [WIDE, HIGH] = [30000, 8000]; // steps of a picture
const MOST_ZOOM = 300;

let view = null; // stretch of time that all pictures show; null: each its own
let mark = null; // time of the readout
const pictures = [];

const element = (name, className, text = "") => {
  const made = document.createElement(name);
  made.className = className;
  made.textContent = text;
  return made;
};
const clamp = (value, low, high) => Math.min(high, Math.max(low, value));
const decimals = (step) => clamp(Math.ceil(-Math.log10(step)), 0, 9);
const words = (value, digits) => {
  const text = value.toFixed(digits);
  return (/^-0\.?0*$/.test(text) ? text.slice(1) : text).replace("-", "−");
};

// The corners of a path: whole steps, after the first each counted from the one before.
const corners = (path) => {
  let [x, y] = [0, 0];
  const steps = path.getAttribute("d").match(/-?\d+/g)?.map(Number) ?? [];
  const out = [];
  for (let at = 0; at + 1 < steps.length; at += 2) out.push([x += steps[at], y += steps[at + 1]]);
  return out;
};

const read = (strip) => {
  const [x, y] = [strip.dataset.x, strip.dataset.y].map((range) => range.split(" ").map(Number));
  const zero = Number(strip.dataset.zero);
  const time = (step) => zero + x[0] + (step / WIDE) * (x[1] - x[0]);
  const value = (step) => y[1] - (step / HIGH) * (y[1] - y[0]);
  const curves = [...strip.querySelectorAll("path[data-n]")].map((path) => {
    const all = corners(path);
    const kind = path.classList[0];
    const low = kind === "line" ? all : all.slice(0, all.length / 2);
    return {
      kind, role: path.dataset.role,
      column: (Number(path.dataset.column ?? 0) / WIDE) * (x[1] - x[0]),
      t: low.map((at) => time(at[0])),
      v: low.map((at) => value(at[1])),
      high: kind === "line" ? null : all.slice(all.length / 2).reverse().map((at) => value(at[1])),
      output: strip.previousElementSibling.querySelector(`output[data-n="${path.dataset.n}"]`),
    };
  });
  return {
    strip, x, y, zero, curves, from: zero + x[0], to: zero + x[1], digits: decimals((y[1] - y[0]) / 1000),
    svg: strip.querySelector("svg"), readout: strip.previousElementSibling,
  };
};

// The last reading not after a time.
const before = (times, time) => {
  let [low, high] = [0, times.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] <= time) low = middle + 1; else high = middle;
  }
  return low - 1;
};

// What a curve is at a time: its lowest and highest value there, or null where it is not.
const valueAt = (curve, time) => {
  const { t, v, kind } = curve;
  if (!t.length || time < t[0] || time > t[t.length - 1]) return null;
  const at = before(t, time);
  const next = Math.min(at + 1, t.length - 1);
  const share = t[next] > t[at] ? (time - t[at]) / (t[next] - t[at]) : 0;
  const between = (values) => values[at] + share * (values[next] - values[at]);
  if (kind === "band") return [between(v), between(curve.high)];
  if (kind === "share") return Array(2).fill(between(curve.high) - between(v));
  if (curve.column) {
    // A long trace is kept as the lowest and highest reading of each column.
    const near = v.slice(before(t, time - curve.column / 2) + 1, before(t, time + curve.column / 2) + 1);
    if (near.length) return [Math.min(...near), Math.max(...near)];
  }
  return Array(2).fill(between(v));
};

const shown = (picture) => view ?? [picture.from, picture.to];

const ticks = (from, to, count) => {
  const rough = (to - from) / count;
  const power = 10 ** Math.floor(Math.log10(rough));
  const places = (step) => Math.floor(to / step) - Math.ceil(from / step) + 1;
  const step = [1, 2, 5, 10, 20].map((n) => n * power).find((n) => places(n) <= count);
  const out = [];
  for (let nth = Math.ceil(from / step); nth * step <= to; nth += 1) out.push(nth * step);
  return out.map((value) => [value, words(value, decimals(step * 1.001))]);
};

// Range of what the curves do in a stretch of time, with a little air.
const reach = (picture, [from, to]) => {
  let [low, high] = [Infinity, -Infinity];
  const take = (value) => { low = Math.min(low, value); high = Math.max(high, value); };
  for (const curve of picture.curves) {
    const sides = curve.high ? [curve.v, curve.high] : [curve.v];
    const last = before(curve.t, to);
    for (const side of sides) {
      for (let at = before(curve.t, from) + 1; at <= last; at += 1) take(side[at]);
      for (const edge of [from, to]) valueAt({ ...curve, kind: "line", column: 0, v: side }, edge)?.forEach(take);
    }
  }
  if (low > high) return picture.y;
  const air = Math.max(0.06 * (high - low), 1e-3 * (picture.y[1] - picture.y[0]));
  return [low - air, high + air];
};

// Moves the frame of a picture to a stretch of time; without one it is as printed.
const draw = (picture) => {
  const { strip, svg, x, y, zero } = picture;
  const whole = view === null;
  const [from, to] = shown(picture).map((time) => time - zero);
  const [low, high] = whole ? y : reach(picture, view);
  const [across, up] = [WIDE / (x[1] - x[0]), HIGH / (y[1] - y[0])];
  svg.setAttribute("viewBox", whole ? `0 0 ${WIDE} ${HIGH}` :
    [(from - x[0]) * across, (y[1] - high) * up, (to - from) * across, (high - low) * up].join(" "));
  strip.querySelectorAll(".up, .along span").forEach((tick) => tick.remove());
  const percent = (share) => `${(100 * share).toFixed(2)}%`;
  const room = svg.clientHeight || 150; // a folded picture has no height yet
  const most = Math.floor(Math.max(Math.min(5, room / 18), room / 42));
  const levels = ticks(low, high, most);
  const second = Number(strip.dataset.second ?? 0);
  const rights = second ? ticks(second * low, second * high, most) : [];
  const up_at = (name, value, text) => {
    const tick = element("span", name, text);
    tick.style.bottom = percent((value - low) / (high - low));
    svg.after(tick);
  };
  for (const [value, text] of levels) up_at("up", value, text);
  for (const [value, text] of rights) up_at("up right", value / second, text);
  const edge = (time) => Math.round((time - x[0]) * across);
  svg.querySelector(".grid")?.setAttribute("d", levels.map(([value]) =>
    `M${edge(from)} ${((y[1] - value) * up).toFixed(1)}H${edge(to)}`).join(""));
  ticks(from, to, 12).forEach(([value, text], nth) => {
    const tick = element("span", nth % 2 ? "odd" : "", text);
    tick.style.left = percent((value - from) / (to - from));
    strip.querySelector(".along")?.append(tick);
  });
  for (const moment of strip.querySelectorAll(".moments span")) {
    const share = (Number(moment.dataset.at) - from) / (to - from);
    moment.hidden = share < 0 || share > 1;
    moment.style.left = percent(share);
    moment.classList.toggle("left", share > 0.5);
  }
};

const point = (picture) => {
  const { strip, readout, zero, curves, digits } = picture;
  strip.querySelector(".mark")?.remove();
  const [from, to] = shown(picture);
  const inside = mark !== null && mark >= from && mark <= to;
  const told = [];
  const time = readout.querySelector(".time");
  time.textContent = mark === null ? "" : `${words(mark - zero, decimals((to - from) / 1000))} s`;
  readout.classList.toggle("on", mark !== null);
  if (mark === null) delete readout.dataset.time; else readout.dataset.time = mark;
  for (const curve of curves) {
    const value = mark === null ? null : valueAt(curve, mark);
    const [low, high] = (value ?? []).map((one) => words(one, digits));
    const text = value ? `${low === high ? low : `${low} to ${high}`} ${strip.dataset.unit}`.trim() : "";
    curve.output.textContent = text;
    if (value) told.push(`${curve.output.parentNode.firstChild.textContent.trim()} ${text}`);
  }
  strip.setAttribute("aria-valuenow", ((mark ?? from) - zero).toPrecision(6));
  strip.setAttribute("aria-valuetext", mark === null ? "no time marked"
    : [time.textContent, ...(told.length ? told : ["nothing was read here"])].join(", "));
  if (!inside) return;
  const line = element("div", "mark");
  line.style.left = `${(100 * (mark - from)) / (to - from)}%`;
  strip.querySelector(".frame").append(line);
};

const move = (time) => {
  mark = time;
  pictures.forEach(point);
  replay?.();
};

// Room for what a key says at a moment, so that nothing below it moves when one is marked.
const reserve = () => {
  const before = mark;
  for (const picture of pictures) picture.readout.style.minHeight = "";
  for (const picture of pictures) {
    mark = (picture.from + picture.to) / 2;
    point(picture);
  }
  const heights = pictures.map((picture) => picture.readout.offsetHeight);
  pictures.forEach((picture, nth) => { picture.readout.style.minHeight = `${heights[nth]}px`; });
  move(before);
};

const look = (stretch) => {
  view = stretch;
  for (const picture of pictures) {
    draw(picture);
    const [from, to] = shown(picture);
    picture.strip.setAttribute("aria-valuemin", (from - picture.zero).toPrecision(6));
    picture.strip.setAttribute("aria-valuemax", (to - picture.zero).toPrecision(6));
    if (picture.whole) picture.whole.hidden = view === null;
    point(picture);
  }
};

// Shows a stretch, within what there is, no closer than makes sense.
const closer = (from, to) => {
  const first = Math.min(...pictures.map((picture) => picture.from));
  const last = Math.max(...pictures.map((picture) => picture.to));
  const middle = (from + to) / 2;
  const half = Math.max((to - from) / 2, (last - first) / MOST_ZOOM / 2);
  const stretch = [Math.max(first, middle - half), Math.min(last, middle + half)];
  look(stretch[0] <= first && stretch[1] >= last ? null : stretch);
};

const FAR_PX = 6; // a drag shorter than this is a click

const listenTo = (picture) => {
  const frame = picture.strip.querySelector(".frame");
  let start = null;
  const timeAt = (event) => {
    const place = frame.getBoundingClientRect();
    const [from, to] = shown(picture);
    return from + clamp((event.clientX - place.left) / place.width, 0, 1) * (to - from);
  };
  const drag = (event) => {
    frame.querySelector(".stretch")?.remove();
    if (!event) return;
    const place = frame.getBoundingClientRect();
    const [a, b] = [start.x, event.clientX].map((x) => clamp(x - place.left, 0, place.width));
    const made = element("div", "stretch");
    Object.assign(made.style, { left: `${Math.min(a, b)}px`, width: `${Math.abs(b - a)}px` });
    frame.append(made);
  };
  const far = (event) => Math.abs(event.clientX - start.x) >= FAR_PX;
  frame.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    start = { x: event.clientX, time: timeAt(event) };
    move(start.time);
    frame.setPointerCapture(event.pointerId);
  });
  frame.addEventListener("pointermove", (event) => {
    move(timeAt(event));
    if (start && far(event)) drag(event);
  });
  frame.addEventListener("pointerup", (event) => {
    if (!start) return;
    const [dragged, from, to] = [far(event), start.time, timeAt(event)];
    start = null;
    drag(null);
    if (dragged && to !== from) closer(Math.min(from, to), Math.max(from, to));
  });
  frame.addEventListener("pointercancel", () => { start = null; drag(null); });
  frame.addEventListener("dblclick", () => look(null));
  frame.addEventListener("pointerleave", (event) => { if (event.pointerType === "mouse") move(null); });
};

const key = (picture, event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const [from, to] = shown(picture);
  const span = to - from;
  const now = clamp(mark ?? (from + to) / 2, from, to);
  const step = span / (event.shiftKey ? 10 : 100);
  const zoom = (factor) => closer(now - (now - from) * factor, now + (to - now) * factor);
  const acts = {
    ArrowLeft: () => move(clamp(now - step, from, to)),
    ArrowRight: () => move(clamp(now + step, from, to)),
    Home: () => move(from),
    End: () => move(to),
    "+": () => zoom(0.5),
    "=": () => zoom(0.5),
    "-": () => zoom(2),
    Escape: () => { look(null); move(null); },
    ...(toggle && { " ": () => toggle(event.shiftKey ? 0.25 : 1) }),
  };
  const act = acts[event.key];
  if (!act) return;
  event.preventDefault();
  act();
};

let replay = null;
let toggle = null; // plays the replay at a speed, or stops it

document.querySelectorAll(".strip[data-x]").forEach((strip) => {
  const picture = read(strip);
  const title = picture.svg.getAttribute("aria-label");
  picture.svg.setAttribute("aria-hidden", "true");
  // A slider over time: arrow keys move it, and its value is read out.
  for (const [name, value] of [["tabindex", "0"], ["role", "slider"], ["aria-label",
    `${title}. Arrow keys move the time mark, plus and minus look closer or wider, Escape shows all.`]]) {
    strip.setAttribute(name, value);
  }
  const figure = strip.closest("figure");
  if (!figure.querySelector(".whole")) {
    picture.whole = element("button", "whole", "show all of it");
    picture.whole.type = "button";
    picture.whole.addEventListener("click", () => { look(null); strip.focus({ preventScroll: true }); });
    figure.prepend(picture.whole);
  }
  strip.addEventListener("keydown", (event) => key(picture, event));
  listenTo(picture);
  pictures.push(picture);
});

// The replay: what moves is told by the role of a curve, and stands as printed while no time is marked.
const rig = document.querySelector(".rig");
const played = new Map();
for (const curve of pictures.flatMap((picture) => picture.curves)) {
  if (curve.role && !played.has(curve.role)) played.set(curve.role, curve);
}
if (rig && played.size) {
  const still = [...rig.querySelectorAll("[transform]")].map((part) => [part, part.getAttribute("transform")]);
  const at = (role) => {
    const curve = played.get(role);
    const value = curve && valueAt(curve, mark);
    return value ? (value[0] + value[1]) / 2 : 0;
  };
  replay = () => {
    still.forEach(([part, printed]) => part.setAttribute("transform", printed));
    if (mark === null) return;
    rig.querySelector(".body").setAttribute("transform", `rotate(${at("tilt")})`);
    rig.querySelectorAll(".nozzle").forEach((part) => part.setAttribute("transform", `rotate(${-at("nozzle")})`));
    rig.querySelectorAll(".flame").forEach((part) => {
      const share = Math.max(0, at(`motor-${part.dataset.motor}`) / Number(rig.dataset.peak));
      part.setAttribute("transform", `translate(0 14) scale(1 ${share}) translate(0 -14)`);
    });
  };
  let running = null;
  const [first, last] = [pictures[0].from, pictures[0].to];
  const bar = element("p", "play");
  const buttons = new Map();
  const stop = () => { running = null; buttons.forEach((one) => { one.textContent = one.title; }); };
  toggle = (speed) => {
    const again = running?.speed !== speed;
    stop();
    if (!again) return;
    const begin = mark === null || mark >= last ? first : mark;
    const run = running = { speed, begin, since: performance.now() };
    buttons.get(speed).textContent = "stop";
    const step = (now) => {
      if (running !== run) return;
      const time = run.begin + (speed * Math.max(0, now - run.since)) / 1000;
      move(Math.min(time, last));
      if (time < last) requestAnimationFrame(step); else stop();
    };
    requestAnimationFrame(step);
  };
  for (const [speed, title] of [[1, "play"], [0.25, "play at a quarter of the speed"]]) {
    const button = element("button", "", title);
    Object.assign(button, { type: "button", title });
    button.addEventListener("click", () => toggle(speed));
    buttons.set(speed, button);
    bar.append(button);
  }
  rig.append(bar);
}

// Folded parts open where a link leads into one.
const unfold = () => {
  const target = location.hash.length > 1 && document.getElementById(location.hash.slice(1));
  for (let at = target; at; at = at.parentElement) if (at.matches("details")) at.open = true;
  if (target) target.scrollIntoView();
};
addEventListener("hashchange", unfold);
if (!pictures.length) return;
const hint = element("p", "hint faint small", "Pictures over time move together: point at one to read all of \
them, drag across it to look closer, double click to see all again. Keys: Tab, arrows, plus, minus, Escape" +
  (toggle ? "; space plays the firing, with shift at a quarter of the speed." : "."));
pictures[0].strip.closest("figure").append(hint);
look(null);
reserve();
addEventListener("resize", reserve);
document.querySelectorAll("details").forEach((one) => one.addEventListener("toggle", reserve));
})();
