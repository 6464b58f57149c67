// Judges alerts by labels, after the labels were changed in the page.  The rule is that of desk/scoring.py; which alerts
// there are is the tracker's decision and never this page's.

/** True if an alert that peaks at `peak` belongs to the pass of a label. */
function belongs(peak, label, nearS) {
  return Math.min(label.start, label.closest - nearS) <= peak && peak <= Math.max(label.end, label.closest + nearS);
}

const NORMAL_95 = 1.959963984540054; // half-width of a 95 % interval, in standard deviations

/** Wilson's 95 % interval of hits / count (the source is given in desk/rates.py). */
function shareInterval(hits, count) {
  if (count === 0) return [0, 1];
  const square = NORMAL_95 ** 2;
  const share = hits / count;
  const scale = 1 + square / count;
  const middle = (share + square / (2 * count)) / scale;
  const half = Math.sqrt(square * ((share * (1 - share)) / count + square / (4 * count ** 2))) / scale;
  return [hits === 0 ? 0 : middle - half, hits === count ? 1 : middle + half];
}

/** The figures of one position of the slider, in the form in which Python gives them. */
function figuresOf(recording, peaks, labels) {
  const objects = labels.filter((label) => label.response !== "");
  const near = recording.nearS;
  const found = objects.filter((label) => peaks.some((peak) => belongs(peak, label, near))).length;
  const falseAlarms = peaks.filter((peak) => !objects.some((label) => belongs(peak, label, near))).length;
  const spanS = objects.reduce((sum, label) => sum + (label.end - label.start), 0);
  const minutes = Math.max(0, recording.readyMinutes - spanS / 60);
  const [foundLow, foundHigh] = shareInterval(found, objects.length);
  const [rateLow, rateHigh] = recording.rateLimits[falseAlarms];
  return {
    passes: objects.length,
    found,
    foundLow,
    foundHigh,
    falseAlarms,
    minutes,
    rateLow: minutes > 0 ? rateLow / minutes : 0,
    rateHigh: minutes > 0 ? rateHigh / minutes : null,
  };
}
