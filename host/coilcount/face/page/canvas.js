// What all drawings share: sharp canvases, colours of the theme, axes.

/** The colours of the style sheet, by name; read again when the theme changes. */
function readColours() {
  const style = getComputedStyle(document.documentElement);
  const names = ["paper", "ink", "soft", "grid", "trace", "band", "rise", "fall", "mark", "object", "nothing", "pick"];
  return Object.fromEntries(names.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
}

/** Prepare a canvas for one drawing in CSS pixels, sharp on every screen. */
function begin(canvas, colours) {
  const width = canvas.clientWidth;
  const height = canvas.clientHeight;
  const ratio = window.devicePixelRatio || 1;
  const [w, h] = [Math.round(width * ratio), Math.round(height * ratio)];
  if (canvas.width !== w || canvas.height !== h) {
    canvas.width = w;
    canvas.height = h;
  }
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.fillStyle = colours.paper;
  context.fillRect(0, 0, width, height);
  context.font = "12px system-ui, sans-serif";
  context.lineWidth = 1;
  context.lineJoin = "round";
  return { context, width, height };
}

/** The size of a pixel of the screen, in CSS pixels. */
const onePixel = () => 1 / (window.devicePixelRatio || 1);

/** About `wanted` round numbers from low to high. */
function ticks(low, high, wanted) {
  const rough = (high - low) / Math.max(1, wanted);
  if (!(rough > 0)) return [];
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].find((factor) => factor * power >= rough * 0.999) * power;
  const found = [];
  for (let n = Math.ceil(low / step); n * step <= high + step * 1e-9; n++) found.push(n * step);
  return found;
}

const TIME_STEPS = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400];

/** Times for an axis, at steps that a clock has; `offset` moves them onto full minutes of the day. */
function timeTicks(t0, t1, wanted, offset = 0) {
  const step = TIME_STEPS.find((seconds) => (t1 - t0) / seconds <= wanted) || 28800;
  const found = [];
  for (let n = Math.ceil((t0 + offset) / step - 1e-9); n * step - offset <= t1; n++) found.push(n * step - offset);
  return { step, times: found };
}

const RAW_PER_PIXEL = 3; // readings; with more for each pixel, minima and maxima are drawn instead of the line

/** A line through the samples of one stretch, as bars from minimum to maximum where many share a pixel. */
function traceStretch(context, samples, timeline, [first, end], area, view, toY, pixel) {
  const from = Math.max(first, timeline.indexAt(view.t0) - 1);
  const to = Math.min(end, timeline.indexAt(view.t1) + 1);
  if (to <= from) return;
  const toX = (time) => area.left + ((time - view.t0) / view.span) * area.width;
  const x0 = Math.floor(toX(timeline.timeOf(from)) / pixel);
  const x1 = Math.ceil(toX(timeline.timeOf(to - 1)) / pixel);
  if (to - from <= RAW_PER_PIXEL * Math.max(1, x1 - x0)) {
    context.beginPath();
    for (let i = from; i < to; i++) context.lineTo(toX(timeline.timeOf(i)), toY(samples.values[i]));
    if (to - from === 1) context.lineTo(toX(timeline.timeOf(from)) + 1, toY(samples.values[from]));
    context.stroke();
    return;
  }
  // Rectangles on whole pixels: a stroked path of thousands of corners takes ten times as long to fill.
  let index = from;
  for (let x = x0; x <= x1 && index < to; x++) {
    const timeAfter = view.t0 + (((x + 1) * pixel - area.left) / area.width) * view.span;
    const next = Math.min(to, Math.max(index, timeline.indexAt(timeAfter)));
    if (next === index) continue;
    // The reading before is taken in, so that neighbouring bars join.
    const [low, high] = samples.range(Math.max(from, index - 1), next);
    const top = Math.floor(toY(high) / pixel) * pixel;
    context.fillRect(x * pixel, top, pixel, Math.max(pixel, toY(low) - top));
    index = next;
  }
}

/** pixel: the size of a pixel of the screen in the units of the drawing. */
function drawTrace(context, samples, timeline, lane, view, toY, colour, pixel) {
  context.strokeStyle = context.fillStyle = colour;
  context.lineWidth = 1.1;
  for (const stretch of timeline.stretches) traceStretch(context, samples, timeline, stretch, lane, view, toY, pixel);
  context.lineWidth = 1;
}

/** Hatching, so that a gap cannot be taken for a flat line. */
function hatch(context, x, y, width, height, colour) {
  context.save();
  context.beginPath();
  context.rect(x, y, width, height);
  context.clip();
  context.strokeStyle = colour;
  context.beginPath();
  for (let start = x - height; start < x + width; start += 6) {
    context.moveTo(start, y + height);
    context.lineTo(start + height, y);
  }
  context.stroke();
  context.restore();
}

/** A triangle up or down, a diamond for no sign; hollow if it is not `solid`. */
function glyph(context, x, y, sign, size, colour, solid, paper) {
  context.beginPath();
  if (sign === 0) {
    context.moveTo(x, y - size);
    context.lineTo(x + size, y);
    context.lineTo(x, y + size);
    context.lineTo(x - size, y);
  } else {
    context.moveTo(x, y - sign * size);
    context.lineTo(x + size, y + sign * size * 0.8);
    context.lineTo(x - size, y + sign * size * 0.8);
  }
  context.closePath();
  context.fillStyle = solid ? colour : paper;
  context.fill();
  context.strokeStyle = colour;
  context.lineWidth = 1.6;
  context.stroke();
  context.lineWidth = 1;
}
