// The lane of the shift: its scale, the band of the threshold, the trace.

/** From ppm to a height in the lane and back to ticks; `knee` > 0 compresses what is larger than the knee. */
function shiftScale(lane, low, high, knee) {
  const bend = knee > 0 ? (value) => Math.asinh(value / knee) : (value) => value;
  const room = 0.06 * (bend(high) - bend(low)) || 1;
  const [bottom, top] = [bend(low) - room, bend(high) + room];
  const toY = (value) => lane.bottom - ((bend(value) - bottom) / (top - bottom)) * lane.height;
  const wanted = Math.max(2, Math.floor(lane.height / 38));
  if (!(knee > 0)) return { toY, ticks: ticks(low, high, wanted) };
  const found = [0];
  for (let size = 10 ** Math.floor(Math.log10(knee)); size < Math.max(-low, high) * 2; size *= 10) {
    for (const value of [size, -size, 3 * size, -3 * size]) {
      if (value <= high && value >= low && found.every((other) => Math.abs(toY(other) - toY(value)) > 16)) found.push(value);
    }
  }
  return { toY, ticks: found };
}

function drawShift(context, lanes, scene, toX) {
  const { recording, view, colours, threshold } = scene;
  const lane = lanes.shift;
  const first = recording.timeline.indexAt(view.t0);
  let [low, high] = recording.shift.range(Math.max(0, first - 1), Math.min(recording.count, recording.timeline.indexAt(view.t1) + 1));
  if (!(low <= high)) [low, high] = [0, 0];
  const bands = bandOf(recording, view, threshold);
  const highest = bands.reduce((most, [, ppm]) => Math.max(most, ppm), 0);
  low = Math.min(low, -1.3 * highest);
  high = Math.max(high, 1.3 * highest);
  const scale = shiftScale(lane, low, high, scene.compress ? Math.max(highest, 1e-3) : 0);

  context.save();
  context.beginPath();
  context.rect(lane.left, lane.top, lane.width, lane.height);
  context.clip();
  if (bands.length) {
    const edge = (sign, points) => points.forEach(([time, ppm], i) => {
      const [x, y] = [toX(time), scale.toY(sign * ppm)];
      if (i === 0 && sign > 0) context.moveTo(x, y);
      else context.lineTo(x, y);
    });
    context.beginPath();
    edge(1, bands);
    edge(-1, [...bands].reverse());
    context.closePath();
    context.fillStyle = colours.band;
    context.fill();
    context.strokeStyle = colours.soft;
    context.setLineDash([6, 3]);
    for (const sign of [1, -1]) {
      context.beginPath();
      for (const [time, ppm] of bands) context.lineTo(toX(time), scale.toY(sign * ppm));
      context.stroke();
    }
    context.setLineDash([]);
  }
  context.strokeStyle = colours.grid;
  context.beginPath();
  for (const value of scale.ticks) {
    const y = Math.round(scale.toY(value)) + 0.5;
    context.moveTo(lane.left, y);
    context.lineTo(lane.right, y);
  }
  context.stroke();
  context.strokeStyle = colours.soft;
  context.beginPath();
  context.moveTo(lane.left, Math.round(scale.toY(0)) + 0.5);
  context.lineTo(lane.right, Math.round(scale.toY(0)) + 0.5);
  context.stroke();
  drawTrace(context, recording.shift, recording.timeline, lane, view, scale.toY, colours.trace, onePixel());
  context.restore();

  context.fillStyle = colours.soft;
  context.textBaseline = "middle";
  const hz = recording.baselineHz * 1e-6;
  const inHz = scale.ticks.map((value) => value * hz);
  const [decimals, decimalsHz] = [decimalsOf(scale.ticks), decimalsOf(inHz)];
  scale.ticks.forEach((value, i) => {
    const y = scale.toY(value);
    context.textAlign = "right";
    context.fillText(tickText(value, decimals), lane.left - 6, y);
    context.textAlign = "left";
    if (lanes.wide && hz > 0) context.fillText(tickText(inHz[i], decimalsHz), lane.right + 6, y);
  });
  context.textAlign = "left";
  context.fillText("ppm", 4, lanes.rose.top + GLYPH_LANE / 2);
  if (lanes.wide) context.fillText("Hz", lane.right + 6, lanes.rose.top + GLYPH_LANE / 2);
}

/** How many decimals the values of an axis need: none is off by more than a hundredth of itself. */
function decimalsOf(values) {
  const enough = (decimals) => values.every((value) => Math.abs(value - Number(value.toFixed(decimals))) <= Math.abs(value) / 100);
  return [0, 1, 2, 3].find(enough) ?? 4;
}

const tickText = (value, decimals) => (Number(value.toFixed(decimals)) < 0 ? MINUS : "") + Math.abs(value).toFixed(decimals);

/** [time, ppm]: the threshold as a shift over the window, thinned to what can be seen. */
function bandOf(recording, view, threshold) {
  const [times, scales] = recording.scale;
  if (!times.length) return [];
  const points = [];
  const every = Math.max(1, Math.floor(view.span / 600));
  for (let i = 0; i < times.length; i += every) {
    if (times[i] < view.t0 - 2 * every || times[i] > view.t1 + 2 * every) continue;
    points.push([times[i], scales[i] * threshold]);
  }
  if (points.length && times[0] < view.t0) points.unshift([Math.min(view.t0, points[0][0]), points[0][1]]);
  if (points.length) points.push([Math.max(Math.min(view.t1, recording.timeline.end), points[points.length - 1][0]), points[points.length - 1][1]]);
  return points;
}
