// What was there, against what was answered. Stands only in pages that hold the key.
const feedback = (() => {
  const NEAR_MMHG = set.near_mmHg;
  // A mark belongs to a sound that is at most so long ago, or just about to come (seconds).
  const [SOONEST_S, LATEST_S] = set.reaction_s;
  const LAMP_S = 0.3;
  const WIDTH = 1000;

  const key = (item) => set.key.find((one) => one.name === item.name);
  const sounds = (item) => key(item).beats.filter((beat) => beat.audible);

  function compared(what, truth, given) {
    if (truth === null && given === null) return words_of("found_unknown_same", { what });
    if (truth === null) return words_of("found_unknown", { what, given });
    const rounded = Math.round(truth);
    if (given === null) return words_of("found_none", { what, truth: rounded });
    const off = given - rounded;
    const difference = (off < 0 ? "\u2212" : "+") + Math.abs(off);
    const near = Math.abs(given - truth) <= NEAR_MMHG;
    const which = off === 0 ? "found_same" : near ? "found_near" : "found_far";
    return words_of(which, { what, truth: rounded, given, difference });
  }

  // Each mark takes the earliest sound that is still free; both lists are in order.
  function matched(times_s, marks_s) {
    let next = 0;
    let hits = 0;
    for (const mark_s of [...marks_s].sort((one, two) => one - two)) {
      while (next < times_s.length && mark_s - times_s[next] > LATEST_S) next += 1;
      if (next < times_s.length && mark_s - times_s[next] >= SOONEST_S) {
        hits += 1;
        next += 1;
      }
    }
    return hits;
  }

  function lines(item, state) {
    const truth = key(item);
    const found = [
      compared(words_of("systolic"), truth.systolic, state.systolic),
      compared(words_of("diastolic"), truth.diastolic, state.diastolic),
    ];
    for (const [upper, lower] of truth.gaps) {
      found.push(words_of("found_gap", { upper: Math.round(upper), lower: Math.round(lower) }));
    }
    if (truth.k4 !== null) found.push(words_of("found_k4", { n: Math.round(truth.k4) }));
    if (truth.alone) found.push(words_of("found_alone"));
    if (truth.offset && truth.systolic !== null && truth.diastolic !== null) {
      found.push(words_of("found_offset", {
        n: truth.offset,
        systolic: Math.round(truth.systolic - truth.offset),
        diastolic: Math.round(truth.diastolic - truth.offset),
      }));
    }
    if (state.marks_s.length) {
      const times_s = sounds(item).map((beat) => beat.time_s);
      const hits = matched(times_s, state.marks_s);
      found.push(words_of("found_marks", {
        hits, count: times_s.length, extra: state.marks_s.length - hits,
      }));
    }
    return found;
  }

  function strip(item, state) {
    const seen = state.marks_s.concat(key(item).beats.map((beat) => beat.time_s));
    const [from, to] = [Math.min(...seen) - 1, Math.max(...seen) + 1];
    const x = (time_s) => (((time_s - from) / (to - from)) * WIDTH).toFixed(1);
    const stroke = (time_s, top, bottom, kind) => made("line", {
      x1: x(time_s), x2: x(time_s), y1: top, y2: bottom, class: kind,
    });
    const beats = key(item).beats.map((beat) => (beat.audible
      ? stroke(beat.time_s, 4, 28, "sounds") : stroke(beat.time_s, 12, 28, "quiet")));
    const marks = state.marks_s.map((mark_s) => stroke(mark_s, 32, 46, "marked"));
    byId("strip").replaceChildren(...beats, ...marks);
  }

  function show(item, state) {
    byId("found").replaceChildren(...lines(item, state).map((text) => {
      const line = document.createElement("li");
      line.textContent = text;
      return line;
    }));
    strip(item, state);
    point(item);
    byId("result").hidden = false;
  }

  function point(item) {
    dial.point(key(item).systolic, key(item).diastolic);
  }

  // The lamp beside the dial, lit while a sound passes.
  function light(item, time_s) {
    byId("lamp").hidden = false;
    const beat = time_s === null ? undefined : sounds(item).find(
      (one) => time_s >= one.time_s && time_s < one.time_s + LAMP_S);
    byId("lamp").classList.toggle("lit", beat !== undefined);
    byId("lamp").textContent = beat
      ? words_of("sounding", { phase: beat.phase }) : words_of("silent");
  }

  function hide() {
    byId("result").hidden = true;
    dial.point(null, null);
    light(null, null);
    byId("lamp").hidden = true;
  }

  return { show, hide, point, light };
})();
