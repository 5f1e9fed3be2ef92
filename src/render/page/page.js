// Readout and zoom for the pictures over time. The page is whole without this; it fetches nothing.
// What is drawn comes from `data-curves` beside each picture (src/report/plot/live.rs).
(() => {
"use strict";
const SCALE = 8; // drawing units in a pixel, as in the pictures
const MOST_ZOOM = 2000;
const NAMES_OF_SVG = document.querySelector("svg")?.namespaceURI;

let view = null; // stretch of time that all pictures show; null: each its own
let mark = null; // time of the readout
const pictures = [];

const element = (name, attributes = {}, text = "") => {
  const made = document.createElementNS(NAMES_OF_SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text) made.textContent = text;
  return made;
};
const colour = (name) => `var(--${name})`;
const clamp = (value, low, high) => Math.min(high, Math.max(low, value));
const decimals = (step) => clamp(Math.ceil(-Math.log10(step)), 0, 9);
// Ticks drop the zeros they do not need.
const short = (value, digits) => words(value, digits).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "");
const words = (value, digits) => {
  const text = value.toFixed(digits);
  return (/^-0\.?0*$/.test(text) ? text.slice(1) : text).replace("-", "−");
};

// Numbers are kept as whole steps from the one before.
const numbers = (steps, from, unit) => {
  let at = 0;
  return steps.map((step) => from + (at += step) * unit);
};

const read = (box) => {
  const data = JSON.parse(box.dataset.curves);
  const [from, to] = data.x.map((x) => x + data.zero);
  for (const curve of data.curves) {
    curve.t = numbers(curve.t, from, data.step[0]);
    curve.v = numbers(curve.v, data.y[0], data.step[1]);
    if (curve.high) curve.high = numbers(curve.high, data.y[0], data.step[1]);
  }
  return { box, data, from, to, digits: decimals((data.y[1] - data.y[0]) / 1000) };
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
  const { t, v } = curve;
  if (!t.length || time < t[0] || time > t[t.length - 1]) return null;
  const at = before(t, time);
  const next = Math.min(at + 1, t.length - 1);
  const between = (values) => {
    const share = t[next] > t[at] ? (time - t[at]) / (t[next] - t[at]) : 0;
    return values[at] + share * (values[next] - values[at]);
  };
  if (curve.kind === "band") return [between(v), between(curve.high)];
  if (curve.kind === "steps") return [v[at], v[at]];
  if (curve.column) {
    // A long trace is kept as the lowest and highest reading of each column.
    const first = before(t, time - curve.column / 2) + 1;
    const last = before(t, time + curve.column / 2);
    if (last > first) {
      const near = v.slice(first, last + 1);
      return [Math.min(...near), Math.max(...near)];
    }
  }
  const value = between(v);
  return [value, value];
};

const shown = (picture) => view ?? [picture.from, picture.to];

const frame = (svg) => {
  const [left, top, right, bottom] = svg.dataset.frame.split(" ").map(Number);
  return { left, top, right, bottom };
};

const ticks = (from, to, count) => {
  const rough = (to - from) / count;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((n) => n * power).find((n) => n >= rough * 0.7);
  const out = [];
  for (let nth = Math.ceil(from / step); nth * step <= to; nth += 1) out.push(nth * step);
  return { places: out, digits: decimals(step * 1.001) };
};

// Range of what the curves do in a stretch of time, with a little air.
const reach = (picture, [from, to]) => {
  let [low, high] = [Infinity, -Infinity];
  const take = (value) => { low = Math.min(low, value); high = Math.max(high, value); };
  for (const curve of picture.data.curves) {
    for (const edge of [from, to]) valueAt(curve, edge)?.forEach(take);
    const last = before(curve.t, to);
    for (let at = before(curve.t, from) + 1; at <= last; at += 1) {
      take(curve.v[at]);
      if (curve.high) take(curve.high[at]);
    }
  }
  if (low > high) return picture.data.y;
  const least = (picture.data.y[1] - picture.data.y[0]) * 1e-3;
  const air = Math.max(0.06 * (high - low), least);
  return [low - air, high + air];
};

const path = (curve, [from, to], x, y) => {
  const first = Math.max(before(curve.t, from), 0);
  const last = Math.min(before(curve.t, to) + 1, curve.t.length - 1);
  const corners = [];
  for (let at = first; at <= last; at += 1) {
    if (curve.kind === "steps" && at > first) corners.push([curve.t[at], curve.v[at - 1]]);
    corners.push([curve.t[at], curve.v[at]]);
  }
  if (curve.kind === "band") {
    for (let at = last; at >= first; at -= 1) corners.push([curve.t[at], curve.high[at]]);
  }
  return corners.map(([t, v]) => `${Math.round(x(t))},${Math.round(y(v))}`).join(" ");
};

// Draws a picture anew for the stretch that is shown; without one the printed picture is back.
const draw = (picture, svg, nth) => {
  svg.querySelector("g.closer")?.remove();
  svg.classList.toggle("zoomed", view !== null);
  if (view === null) return;
  const { left, top, right, bottom } = frame(svg);
  const [from, to] = view;
  const [low, high] = reach(picture, view);
  const x = (t) => left + ((t - from) / (to - from)) * (right - left);
  const y = (v) => bottom - ((v - low) / (high - low)) * (bottom - top);
  const group = element("g", { class: "closer" });
  const add = (name, attributes, stroke, text) => {
    const made = element(name, attributes, text);
    if (stroke) made.style[name === "text" ? "fill" : "stroke"] = colour(stroke);
    group.append(made);
    return made;
  };
  const letters = { "font-size": 12.5 * SCALE };
  const line = (x1, y1, x2, y2, stroke) =>
    add("line", { x1, y1, x2, y2, "stroke-width": SCALE }, stroke);
  const up = ticks(low, high, Math.max(3, (bottom - top) / SCALE / 45));
  for (const value of up.places) {
    line(left, y(value), right, y(value), "grid");
    add("text", { ...letters, x: left - 8 * SCALE, y: y(value) + 35, "text-anchor": "end" },
      "faint", short(value, up.digits));
  }
  const zero = picture.data.zero;
  const along = ticks(from - zero, to - zero, Math.max(3, (right - left) / SCALE / 75));
  for (const place of along.places) {
    const at = x(place + zero);
    line(at, bottom, at, bottom + 4 * SCALE, "faint");
    add("text", { ...letters, x: at, y: bottom + 17 * SCALE, "text-anchor": "middle" },
      "faint", short(place, along.digits));
  }
  line(left, top, left, bottom, "faint");
  line(left, bottom, right, bottom, "faint");
  add("text", { ...letters, x: SCALE, y: 13 * SCALE }, "faint", picture.data.words[1]);
  add("text", { ...letters, x: (left + right) / 2, y: bottom + 38 * SCALE, "text-anchor": "middle" },
    "faint", picture.data.words[0]);
  const id = `inside-${nth}-${svg.parentNode.className}`;
  const clip = add("clipPath", { id });
  clip.append(element("rect", { x: left, y: top, width: right - left, height: bottom - top }));
  for (const curve of picture.data.curves) {
    const points = path(curve, view, x, y);
    const band = curve.kind === "band";
    const made = add(band ? "polygon" : "polyline",
      { points, fill: "none", "clip-path": `url(#${id})`, "stroke-width": curve.width }, "");
    if (band) {
      made.style.fill = colour(curve.colour);
      made.style.fillOpacity = 0.22;
    } else {
      made.style.stroke = colour(curve.colour);
      made.style.strokeDasharray = curve.dashes ?? "";
    }
  }
  let ends = [];
  for (const [t, text] of picture.data.moments) {
    if (t + zero < from || t + zero > to) continue;
    const at = x(t + zero);
    line(at, top, at, bottom, "moment");
    const width = text.length * 12.5 * 0.58 * SCALE;
    const start = Math.max(SCALE, Math.min(at - 4 * SCALE, right + 14 * SCALE - width));
    let row = ends.findIndex((end) => end < start);
    if (row < 0) row = ends.length;
    ends[row] = start + width + 8 * SCALE;
    add("text", { ...letters, x: start, y: (33 + 16 * row) * SCALE }, "moment", text);
  }
  if (picture.from > to || picture.to < from) {
    add("text", { ...letters, x: (left + right) / 2, y: (top + bottom) / 2, "text-anchor": "middle" },
      "faint", "no readings in this interval");
  }
  svg.append(group);
};

const point = (picture, svg) => {
  svg.querySelector("g.mark")?.remove();
  const [from, to] = shown(picture);
  if (mark === null || mark < from || mark > to) return;
  const { left, top, right, bottom } = frame(svg);
  const at = left + ((mark - from) / (to - from)) * (right - left);
  const group = element("g", { class: "mark" });
  group.append(element("line", { x1: at, x2: at, y1: top, y2: bottom, "stroke-width": 10 }));
  svg.append(group);
};

const say = (picture) => {
  const { data, readout } = picture;
  readout.replaceChildren();
  if (mark === null) {
    readout.removeAttribute("data-time");
    picture.box.setAttribute("aria-valuenow", picture.box.getAttribute("aria-valuemin"));
    picture.box.setAttribute("aria-valuetext", "no time marked");
    return;
  }
  readout.dataset.time = mark;
  const unit = (of) => { const at = of.lastIndexOf(", "); return at < 0 ? "" : ` ${of.slice(at + 2)}`; };
  const [from, to] = shown(picture);
  const time = words(mark - data.zero, decimals((to - from) / 1000)) + unit(data.words[0]);
  const strong = document.createElement("b");
  strong.textContent = time;
  readout.append(strong);
  const told = [time];
  for (const curve of data.curves) {
    const value = valueAt(curve, mark);
    if (!value) continue;
    const [low, high] = value.map((one) => words(one, picture.digits));
    const text = `${curve.name} ${low === high ? low : `${low} to ${high}`}${unit(data.words[1])}`;
    const part = document.createElement("span");
    part.style.borderColor = colour(curve.colour);
    part.textContent = text;
    readout.append(" ", part);
    told.push(text);
  }
  if (told.length === 1) {
    const nothing = document.createElement("i");
    nothing.textContent = "nothing was read here";
    readout.append(" ", nothing);
    told.push("nothing was read here");
  }
  picture.box.setAttribute("aria-valuenow", (mark - data.zero).toPrecision(6));
  picture.box.setAttribute("aria-valuetext", told.join(", "));
};

const visible = (picture) => picture.svgs.filter((svg) => svg.getClientRects().length);

const move = (time) => {
  mark = time;
  for (const picture of pictures) {
    visible(picture).forEach((svg) => point(picture, svg));
    say(picture);
  }
};

const look = (stretch) => {
  view = stretch;
  pictures.forEach((picture, nth) => {
    picture.svgs.forEach((svg) => { draw(picture, svg, nth); point(picture, svg); });
    const [from, to] = shown(picture);
    picture.box.setAttribute("aria-valuemin", (from - picture.data.zero).toPrecision(6));
    picture.box.setAttribute("aria-valuemax", (to - picture.data.zero).toPrecision(6));
    picture.whole.hidden = view === null;
    say(picture);
  });
};

const everything = () => [
  Math.min(...pictures.map((picture) => picture.from)),
  Math.max(...pictures.map((picture) => picture.to)),
];

// Shows a stretch, within what there is, no closer than makes sense.
const closer = (from, to) => {
  const [first, last] = everything();
  const least = (last - first) / MOST_ZOOM;
  const middle = (from + to) / 2;
  const half = Math.max((to - from) / 2, least / 2);
  const stretch = [Math.max(first, middle - half), Math.min(last, middle + half)];
  look(stretch[0] <= first && stretch[1] >= last ? null : stretch);
};

const timeAt = (picture, svg, event) => {
  const place = svg.getBoundingClientRect();
  const { left, right } = frame(svg);
  const [from, to] = shown(picture);
  const at = ((event.clientX - place.left) / place.width) * svg.viewBox.baseVal.width;
  return from + clamp((at - left) / (right - left), 0, 1) * (to - from);
};

const drag = (svg, x1, x2) => {
  svg.querySelector("rect.stretch")?.remove();
  if (x1 === null) return;
  const { top, bottom } = frame(svg);
  const place = svg.getBoundingClientRect();
  const unit = svg.viewBox.baseVal.width / place.width;
  const [a, b] = [Math.min(x1, x2), Math.max(x1, x2)].map((x) => (x - place.left) * unit);
  svg.append(element("rect",
    { class: "stretch", x: a, y: top, width: b - a, height: bottom - top }));
};

const FAR_PX = 6; // a drag shorter than this is a click

const listenTo = (picture, svg) => {
  let start = null;
  svg.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    start = { x: event.clientX, time: timeAt(picture, svg, event) };
    move(start.time);
    svg.setPointerCapture(event.pointerId);
  });
  svg.addEventListener("pointermove", (event) => {
    move(timeAt(picture, svg, event));
    if (start && Math.abs(event.clientX - start.x) >= FAR_PX) drag(svg, start.x, event.clientX);
  });
  svg.addEventListener("pointerup", (event) => {
    if (!start) return;
    const [far, from] = [Math.abs(event.clientX - start.x) >= FAR_PX, start.time];
    start = null;
    drag(svg, null);
    const to = timeAt(picture, svg, event);
    if (far && to !== from) closer(Math.min(from, to), Math.max(from, to));
  });
  svg.addEventListener("pointercancel", () => { start = null; drag(svg, null); });
  svg.addEventListener("dblclick", () => look(null));
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
  };
  const act = acts[event.key];
  if (!act) return;
  event.preventDefault();
  act();
};

document.querySelectorAll("[data-curves]").forEach((box) => {
  const picture = read(box);
  picture.svgs = [...box.querySelectorAll("svg")];
  picture.readout = document.createElement("p");
  picture.readout.className = "readout num";
  box.after(picture.readout);
  picture.whole = document.createElement("button");
  picture.whole.type = "button";
  picture.whole.hidden = true;
  picture.whole.textContent = "show all of it";
  picture.whole.addEventListener("click", () => { look(null); box.focus({ preventScroll: true }); });
  box.closest("figure").append(picture.whole);
  // A slider over time: arrow keys move it, and its value is read out.
  const title = box.querySelector("title")?.textContent ?? "";
  for (const [name, value] of [["tabindex", "0"], ["role", "slider"], ["aria-label",
    `${title}. Arrow keys move the time mark, plus and minus look closer or wider, Escape shows all.`]]) {
    box.setAttribute(name, value);
  }
  box.addEventListener("keydown", (event) => key(picture, event));
  picture.svgs.forEach((svg) => {
    svg.querySelector("title")?.remove();
    listenTo(picture, svg);
  });
  box.addEventListener("pointerleave", (event) => { if (event.pointerType === "mouse") move(null); });
  pictures.push(picture);
});
if (!pictures.length) return;
const hint = document.createElement("p");
hint.className = "read hint";
hint.textContent = (pictures.length > 1
  ? "Pictures over time move together: point at one to read all of them at that moment, drag across \
one to look closer"
  : "Point at the picture to read it at that moment, drag across it to look closer")
  + ", double click to see all of it again. With the keyboard: Tab to a picture, then arrow keys, plus, \
minus and Escape.";
pictures[0].box.closest("figure").before(hint);
look(null);
addEventListener("resize", () => move(mark));
})();
