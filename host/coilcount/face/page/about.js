// What the recording says about itself: warnings, origin, counts, notes, build, settings.

function fillAbout(recording) {
  const names = {
    records: "records",
    lost: "lost on the way",
    dropped: "dropped by the board",
    damaged: "damaged",
    mended: "readings mended",
    repaired: "miscounted edges removed",
  };
  const rows = [
    ["Files", recording.parts.join(", ")],
    ["Source", recording.source + (recording.simulated ? ", simulated: no coil was there" : "")],
    ["Start", recording.startUtc],
    ["Length", duration(recording.durationS)],
    ["Baseline", recording.baselineHz === null ? "not known" : `${recording.baselineHz.toFixed(3)} Hz`],
    ["Noise of one reading", recording.noisePpm === null ? "not known" : `${brief(recording.noisePpm)} ppm`],
    ["Counts", Object.entries(names).map(([key, words]) => `${recording.counts[key]} ${words}`).join(", ")],
    ["Recorded by", recording.recordedBy ? `coilcount ${recording.recordedBy}` : ""],
    ["Command", recording.command],
    ["Settings of this report", `SHA-256 ${recording.settingsSha256}`],
    ["Recorded with other settings", recording.otherSettings.join(", ")],
    ...Object.entries(recording.notes).map(([key, text]) => [`Note: ${key}`, text]),
    ...Object.entries(recording.board).map(([key, text]) => [`Board: ${key}`, text]),
  ];
  byId("facts").replaceChildren(
    ...rows.filter(([, text]) => text !== "").flatMap(([name, text]) => [element("dt", name), element("dd", text)]),
  );
  byId("settings-text").textContent = recording.settings;
  byId("build-none").hidden = recording.build !== null;
  byId("build").hidden = recording.build === null;
  if (recording.build !== null) {
    byId("build-name").textContent = `${recording.build.file}, SHA-256 ${recording.build.sha256}`;
    byId("build-text").textContent = recording.build.plan;
  }
  const warnings = [];
  if (recording.complaint) warnings.push(`The recording is damaged: ${recording.complaint}. The sound part was used.`);
  warnings.push(...recording.labelComplaints.map((text) => `Labels: ${text}`), ...recording.warnings);
  if (recording.warningsLeftOut) warnings.push(`${recording.warningsLeftOut} more warnings are not listed.`);
  byId("warnings").replaceChildren(...warnings.map((text) => element("li", text)));
  byId("warnings-box").hidden = warnings.length === 0;
  byId("simulated").hidden = !recording.simulated;
}
