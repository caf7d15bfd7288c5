// The manometer: a needle that follows the sound, and words for those who do not see it.
const dial = (() => {
  const SAID_EVERY_MS = 500;
  const LOW = -3; // stops of the needle, mmHg
  const HIGH = 303;
  const CALM_S = 0.75; // less motion: the mean over so much on either side, without the pulse
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const box = byId("dial");
  const needle = byId("needle");
  const covered = byId("covered");
  let said_ms = 0;

  // The pressure at a time of the sound; null where the needle is covered.
  function at(item, time_s) {
    const mmhg = exactly(item, time_s);
    if (!calm.matches || mmhg === null) return mmhg;
    const half = Math.round(CALM_S / item.step_s);
    const near = [];
    for (let step = -half; step <= half; step += 1) {
      near.push(exactly(item, time_s + step * item.step_s));
    }
    if (near.includes(null)) return mmhg;
    return near.reduce((sum, one) => sum + one, 0) / near.length;
  }

  function exactly(item, time_s) {
    const place = Math.min(Math.max(time_s / item.step_s, 0), item.mmhg.length - 1);
    const before = Math.floor(place);
    const after = Math.min(before + 1, item.mmhg.length - 1);
    const [low, high] = [item.mmhg[before], item.mmhg[after]];
    if (low === null || high === null) return null;
    return low + (high - low) * (place - before);
  }

  function angle(mmhg) {
    return (Math.min(Math.max(mmhg, LOW), HIGH) + set.dial.first_deg).toFixed(2);
  }

  // To the mark of 2 mmHg that is nearest, as a reader of the dial would.
  function words(mmhg) {
    if (mmhg === null) return words_of("pressure_covered");
    return words_of("pressure", { n: Math.max(0, 2 * Math.round(mmhg / 2)) });
  }

  // The needle at a time of the sound; ``moment_ms`` is by the page's own clock.
  function show(item, time_s, moment_ms) {
    const mmhg = at(item, time_s);
    box.dataset.time_s = Number.isFinite(time_s) ? time_s.toFixed(4) : "";
    const turned = needle.hasAttribute("hidden") !== (mmhg === null);
    needle.toggleAttribute("hidden", mmhg === null);
    covered.toggleAttribute("hidden", mmhg !== null);
    if (mmhg !== null) needle.setAttribute("transform", `rotate(${angle(mmhg)})`);
    if (!turned && Math.abs(moment_ms - said_ms) < SAID_EVERY_MS) return;
    said_ms = moment_ms;
    box.setAttribute("aria-valuenow", mmhg === null ? 0 : Math.max(0, 2 * Math.round(mmhg / 2)));
    box.setAttribute("aria-valuetext", words(mmhg));
  }

  // Where systolic and diastolic are, once they may be known.
  function point(systolic, diastolic) {
    for (const [name, mmhg] of [["systolic", systolic], ["diastolic", diastolic]]) {
      const mark = byId("at-" + name);
      const known = mmhg !== null && mmhg !== undefined;
      mark.toggleAttribute("hidden", !known);
      byId(name + "-pointer").hidden = !known;
      if (known) mark.setAttribute("transform", `rotate(${angle(mmhg)})`);
    }
  }

  return { at, show, point, words };
})();
