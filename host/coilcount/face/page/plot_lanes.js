// The lanes of the plot, from top to bottom: labels, marks and holds, alerts that rose, shift, alerts that fell,
// detection statistic, time.

const LABEL_LANE = 24;
const EVENT_LANE = 16;
const GLYPH_LANE = 22;
const TIME_LANE = 22;
const STATISTIC_SHARE = 0.3; // of the height that the two traces have together
const LEAST_LABEL = 8; // px: a pass of half a second stays visible in a view of an hour
const LEAST_CROWDED_LABEL = 3; // px
const LEAST_GAP = 2; // px

/** Where each lane lies, in CSS pixels. */
function layOut(width, height) {
  const wide = width >= 560;
  const left = wide ? 56 : 46;
  const right = width - (wide ? 56 : 10);
  const traces = height - LABEL_LANE - EVENT_LANE - 2 * GLYPH_LANE - TIME_LANE - 8;
  const statisticHeight = Math.round(traces * STATISTIC_SHARE);
  const lane = (top, laneHeight) => ({ left, right, width: right - left, top, bottom: top + laneHeight, height: laneHeight });
  const labels = lane(0, LABEL_LANE);
  const events = lane(labels.bottom, EVENT_LANE);
  const rose = lane(events.bottom, GLYPH_LANE);
  const shift = lane(rose.bottom, traces - statisticHeight);
  const fell = lane(shift.bottom, GLYPH_LANE);
  const statistic = lane(fell.bottom + 4, statisticHeight);
  const time = lane(statistic.bottom + 4, TIME_LANE);
  return { wide, labels, events, rose, shift, fell, statistic, time };
}

function drawGrid(context, lanes, scene, toX) {
  const { view, colours, clockOffset } = scene;
  const { times, step } = timeTicks(view.t0, view.t1, Math.max(2, Math.floor(lanes.shift.width / 84)), clockOffset ?? 0);
  context.fillStyle = colours.soft;
  context.textAlign = "center";
  context.textBaseline = "top";
  context.strokeStyle = colours.grid;
  context.beginPath();
  for (const time of times) {
    const x = Math.round(toX(time)) + 0.5;
    context.moveTo(x, lanes.rose.top);
    context.lineTo(x, lanes.statistic.bottom);
    const decimals = step < 1 ? 1 : 0;
    const text = clockOffset === null ? instant(time, decimals) : timeOfDay(1000 * clockOffset, time, decimals);
    const half = context.measureText(text).width / 2;
    const shown = Math.min(Math.max(x, half + 2), lanes.time.right + (lanes.wide ? 50 : 8) - half);
    context.fillText(text, shown, lanes.time.top + 4);
  }
  context.stroke();
}

function drawGaps(context, lanes, scene, toX) {
  const { recording, view, colours } = scene;
  for (const [start, end] of recording.timeline.breaks) {
    if (end < view.t0 || start > view.t1) continue;
    // Whole pixels: a thin gap must not be blurred away.
    const x = Math.floor(Math.max(lanes.shift.left, toX(start)));
    const width = Math.max(LEAST_GAP, Math.ceil(Math.min(lanes.shift.right, toX(end))) - x);
    for (const lane of [lanes.shift, lanes.statistic]) {
      context.fillStyle = colours.paper;
      context.fillRect(x, lane.top, width, lane.height);
      if (width < 6) {
        context.fillStyle = colours.soft;
        context.fillRect(x, lane.top, width, lane.height);
      } else hatch(context, x, lane.top, width, lane.height, colours.soft);
    }
  }
}

function drawStatistic(context, lanes, scene) {
  const { recording, view, colours, threshold } = scene;
  const lane = lanes.statistic;
  const highest = Math.max(3 * threshold, ...recording.statistic.range(0, recording.count).map(Math.abs));
  const most = Math.asinh(highest / threshold) * 1.05;
  const toY = (value) => (lane.top + lane.bottom) / 2 - (Math.asinh(value / threshold) / most) * (lane.height / 2);
  context.save();
  context.beginPath();
  context.rect(lane.left, lane.top, lane.width, lane.height);
  context.clip();
  context.fillStyle = colours.band;
  context.fillRect(lane.left, toY(threshold), lane.width, toY(-threshold) - toY(threshold));
  drawTrace(context, recording.statistic, recording.timeline, lane, view, toY, colours.trace, onePixel());
  context.strokeStyle = colours.ink;
  context.setLineDash([6, 3]);
  context.beginPath();
  for (const value of [threshold, -threshold]) {
    const y = Math.round(toY(value)) + 0.5;
    context.moveTo(lane.left, y);
    context.lineTo(lane.right, y);
  }
  context.stroke();
  context.setLineDash([]);
  context.restore();
  context.fillStyle = colours.soft;
  context.textAlign = "right";
  context.textBaseline = "middle";
  const roomForZero = toY(0) - toY(threshold) > 13;
  for (const value of roomForZero ? [threshold, 0, -threshold] : [threshold, -threshold]) {
    const text = value === 0 ? "0" : (value < 0 ? MINUS : "") + threshold.toFixed(1);
    context.fillText(text, lane.left - 6, toY(value));
  }
  context.textAlign = "left";
  context.fillText("σ", 4, lane.top + 8);
  context.strokeStyle = colours.grid;
  context.strokeRect(lane.left + 0.5, lane.top + 0.5, lane.width - 1, lane.height - 1);
}

/** Alerts: above the trace if the frequency rose, below it if it fell.  Returns where they can be clicked. */
function drawAlerts(context, lanes, scene, toX) {
  const { alerts, view, colours, picked } = scene;
  const hits = [];
  const rows = new Map(); // find: its alerts in view
  const shown = alerts.filter((alert) => alert.peak >= view.t0 && alert.peak <= view.t1);
  for (const alert of shown) rows.set(alert.find, [...(rows.get(alert.find) || []), alert]);
  const place = (alert) => {
    const lane = alert.sign >= 0 ? lanes.rose : lanes.fell;
    return [toX(alert.peak), (lane.top + lane.bottom) / 2];
  };
  const colourOf = (alert) => (alert.sign > 0 ? colours.rise : alert.sign < 0 ? colours.fall : colours.ink);
  for (const group of rows.values()) {
    if (group.length < 2) continue;
    const [x0, y] = place(group[0]);
    const [x1] = place(group[group.length - 1]);
    context.strokeStyle = colourOf(group[0]);
    context.beginPath();
    context.moveTo(x0, y + 0.5);
    context.lineTo(x1, y + 0.5);
    context.stroke();
  }
  context.textBaseline = "middle";
  context.textAlign = "left";
  // Where alerts crowd, small glyphs keep them apart, and there is no room for the question marks.
  const crowded = shown.length > lanes.shift.width / 28;
  for (const alert of shown) {
    const [x, y] = place(alert);
    if (picked !== null && picked.find === alert.find && picked.sign === alert.sign) {
      context.strokeStyle = colours.pick;
      context.lineWidth = 2;
      context.beginPath();
      context.arc(x, y, 10.5, 0, 2 * Math.PI);
      context.stroke();
      context.setLineDash([2, 3]);
      context.beginPath();
      context.moveTo(x, lanes.shift.top);
      context.lineTo(x, lanes.statistic.bottom);
      context.stroke();
      context.setLineDash([]);
      context.lineWidth = 1;
    }
    glyph(context, x, y, alert.sign, crowded ? 4 : 6, colourOf(alert), alert.verdict !== "false", colours.paper);
    if (alert.response === "uncertain" && !crowded) {
      context.fillStyle = colours.ink;
      context.fillText("?", x + 8, y);
    }
    hits.push({ x, y, alert });
  }
  return hits;
}

/** The strip of labels.  Returns where they can be clicked. */
function drawLabels(context, lanes, scene, toX) {
  const { recording, labels, view, colours, foundLabels } = scene;
  const lane = lanes.labels;
  const hits = [];
  context.textBaseline = "middle";
  context.textAlign = "left";
  context.fillStyle = colours.soft;
  context.fillText(lanes.wide ? "labels" : "label", 4, lane.top + 12);
  const shown = labels.filter((label) => label.end >= view.t0 && label.start <= view.t1);
  const least = shown.length > lane.width / 16 ? LEAST_CROWDED_LABEL : LEAST_LABEL;
  for (const label of shown) {
    const middle = toX(label.closest);
    const x0 = Math.max(lane.left, Math.min(toX(label.start), middle - least / 2));
    const x1 = Math.min(lane.right, Math.max(toX(label.end), middle + least / 2));
    const object = isObject(recording, label);
    const colour = object ? colours.object : colours.nothing;
    const [y, height] = [lane.top + 3, lane.height - 6];
    context.strokeStyle = colour;
    if (object && foundLabels.has(label)) {
      context.fillStyle = colour;
      context.fillRect(x0, y, x1 - x0, height);
    } else if (!object) hatch(context, x0, y, x1 - x0, height, colour);
    else context.setLineDash([3, 2]);
    context.strokeRect(x0 + 0.5, y + 0.5, x1 - x0 - 1, height - 1);
    context.setLineDash([]);
    hits.push({ x0, x1, top: lane.top, bottom: lane.bottom, label });
  }
  // The names go beside the boxes, where there is room before the next one.
  context.fillStyle = colours.ink;
  hits.forEach((hit, i) => {
    const room = (i + 1 < hits.length ? hits[i + 1].x0 : lane.right) - hit.x1 - 8;
    const state = labelState(recording, hit.label, foundLabels);
    const words = labelWords(hit.label) + (state === "" || state === "found" ? "" : `, ${state}`);
    if (context.measureText(words).width <= room) context.fillText(words, hit.x1 + 4, lane.top + 12.5);
  });
  return hits;
}

function drawEvents(context, lanes, scene, toX) {
  const { recording, view, colours, holds } = scene;
  const lane = lanes.events;
  const middle = (lane.top + lane.bottom) / 2;
  context.textBaseline = "middle";
  context.textAlign = "left";
  const inLane = (x) => Math.min(Math.max(x, lane.left), lane.right);
  for (const [start, end] of holds) {
    const last = end === null ? recording.timeline.end : end;
    if (last < view.t0 || start > view.t1) continue;
    const [x0, x1] = [inLane(toX(start)), inLane(toX(last))];
    context.fillStyle = colours.mark;
    context.fillRect(x0, middle - 2, Math.max(2, x1 - x0), 4);
    if (x1 - x0 > 34) {
      context.fillStyle = colours.paper;
      context.fillRect(x0 + 3, lane.top, 28, lane.height);
      context.fillStyle = colours.ink;
      context.fillText("hold", x0 + 5, middle);
    }
  }
  for (const [start, end, reason] of recording.silences) {
    if (end < view.t0 || start > view.t1) continue;
    const x = inLane(toX(start));
    context.fillStyle = colours.ink;
    if (context.measureText(reason).width < 160) context.fillText(reason, x, middle);
  }
  let free = 0;
  for (const [time, text] of recording.marks) {
    if (time < view.t0 || time > view.t1) continue;
    const x = toX(time);
    context.strokeStyle = colours.mark;
    context.setLineDash([4, 3]);
    context.beginPath();
    context.moveTo(x, lane.top);
    context.lineTo(x, lanes.statistic.bottom);
    context.stroke();
    context.setLineDash([]);
    context.fillStyle = colours.mark;
    context.fillRect(x, lane.top + 1, 7, 6);
    const words = text || "mark";
    const width = context.measureText(words).width;
    const left = x + 10 + width > lane.right ? x - 6 - width : x + 10; // beside the flag, where there is room
    if (left > free) {
      context.fillStyle = colours.ink;
      context.fillText(words, left, middle);
      free = Math.max(x, left + width) + 6;
    }
  }
}
