// What moves slowly over the whole recording: baseline, temperature, supply.

/** Fill the figures: one canvas each, with a caption that says the same in words. */
function slowCharts(recording) {
  const hz = recording.baselineHz;
  const [times, baseline] = recording.baseline;
  const ppm = hz ? baseline.map((value) => ((value - baseline[0]) / hz) * 1e6) : [];
  return [
    { id: "drift", name: "Baseline", unit: "ppm from the start", times, values: ppm, decimals: 2, least: 0.5 },
    { id: "temperature", name: "Temperature of the board", unit: "°C", times: recording.status.temperature[0], values: recording.status.temperature[1], decimals: 1, least: 0.4 },
    { id: "supply", name: "Supply of the board", unit: "V", times: recording.status.supply[0], values: recording.status.supply[1], decimals: 2, least: 0.05 },
  ];
}

function slowWords({ name, unit, values, times, decimals }) {
  if (!values.length) return `${name}: not recorded.`;
  const low = Math.min(...values);
  const high = Math.max(...values);
  const minutes = (times[times.length - 1] - times[0]) / 60;
  const change = values[values.length - 1] - values[0];
  const number = (value) => (value < 0 ? MINUS : "") + Math.abs(value).toFixed(decimals);
  const span = number(low) === number(high) ? number(low) : `${number(low)} to ${number(high)}`;
  const moved = values.length > 1 ? `; from first to last ${signed(change, decimals)} in ${duration(minutes * 60)}` : "";
  return `${name}: ${span} ${unit}${moved}.`;
}

function drawSlow(canvas, chart, recording, colours) {
  const { context, width, height } = begin(canvas, colours);
  if (!chart.values.length) return;
  const area = { left: 56, right: width - 10, top: 8, bottom: height - 22 };
  const middle = (Math.min(...chart.values) + Math.max(...chart.values)) / 2;
  const half = Math.max((Math.max(...chart.values) - Math.min(...chart.values)) / 2, chart.least / 2) * 1.1;
  const { start, end } = recording.timeline;
  const toX = (time) => area.left + ((time - start) / Math.max(1e-9, end - start)) * (area.right - area.left);
  const toY = (value) => area.bottom - ((value - middle + half) / (2 * half)) * (area.bottom - area.top);
  context.fillStyle = colours.soft;
  context.strokeStyle = colours.grid;
  context.textBaseline = "middle";
  context.textAlign = "right";
  context.beginPath();
  const values = ticks(middle - half, middle + half, 3);
  for (const value of values) {
    const y = Math.round(toY(value)) + 0.5;
    context.moveTo(area.left, y);
    context.lineTo(area.right, y);
    context.fillText(tickText(value, decimalsOf(values)), area.left - 6, y);
  }
  context.textAlign = "center";
  for (const time of timeTicks(start, end, Math.max(2, Math.floor(width / 110))).times) {
    const x = toX(time);
    context.moveTo(Math.round(x) + 0.5, area.top);
    context.lineTo(Math.round(x) + 0.5, area.bottom);
    context.fillText(instant(time, 0), Math.min(x, width - 18), height - 10);
  }
  context.stroke();
  context.strokeStyle = colours.trace;
  context.lineWidth = 1.5;
  context.beginPath();
  chart.values.forEach((value, i) => {
    const joined = i > 0 && chart.times[i] - chart.times[i - 1] < 3.5;
    if (joined) context.lineTo(toX(chart.times[i]), toY(value));
    else context.moveTo(toX(chart.times[i]), toY(value));
  });
  context.stroke();
  context.lineWidth = 1;
}
