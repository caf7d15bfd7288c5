// The course of the page: code, items one after the other, files at the end.
const page = (() => {
  const tells_at_once = Boolean(set.key) && set.mode !== "examine";
  const last = set.items.length;
  let at = 0;

  const item = () => set.items[at];
  const state = () => store.of(item());
  // Who has been told what was there answers no more.
  const told = () => Boolean(set.key) && (tells_at_once ? state().done : store.count() === last);
  const lit = () => Boolean(set.key) && (set.mode === "learn" || told());
  const plays_left = () => (set.replays === null ? Infinity : set.replays + 1 - state().started);

  // --- one item ---

  function show(place, announce = true) {
    halt();
    at = place;
    byId("item-name").textContent = words_of("item", { n: at + 1, count: last });
    byId("problem").textContent = "";
    for (const name of ["systolic", "diastolic"]) fill(name);
    if (set.key) feedback.hide();
    if (lit()) feedback.point(item());
    if (lit()) feedback.light(item(), null);
    if (told()) feedback.show(item(), state());
    rest();
    refresh();
    say(words_of(state().typed && !told() ? "typed" : "ready"));
    if (announce) byId("item").focus();
  }

  function fill(name) {
    const given = state().done ? state()[name] : null;
    const draft = told() ? null : state().typed;
    byId(name).value = draft ? draft[name] : given === null ? "" : given;
    byId(name + "-none").checked = draft
      ? draft[name + "-none"] : state().done && given === null;
    byId(name).disabled = byId(name + "-none").checked || told();
    byId(name + "-none").disabled = told();
    fault(name, "");
  }

  function left() {
    if (set.replays === null) return words_of("left_any");
    if (!state().started) {
      return set.replays ? words_of("first_of", { n: set.replays + 1 }) : words_of("first_once");
    }
    const n = Math.max(plays_left(), 0);
    return n === 0 ? words_of("left_none") : n === 1 ? words_of("left_one") : words_of("left", { n });
  }

  function refresh() {
    const playing = sound.playing();
    const play = byId("play");
    const may = playing || plays_left() > 0;
    play.textContent = words_of(playing ? "stop" : state().started ? "again" : "start");
    play.setAttribute("aria-disabled", String(!may));
    byId("left").textContent = left();
    byId("mark").setAttribute("aria-disabled", String(!playing || told()));
    byId("tell").setAttribute("aria-disabled", String(!playing));
    byId("marks").textContent = words_of("marks", { n: state().marks_s.length });
    byId("keep").hidden = told();
    if (byId("next")) byId("next").hidden = !told() || at + 1 >= last;
    const count = store.count();
    byId("progress").textContent = words_of("progress", { n: count, count: last });
    byId("items").replaceChildren(...set.items.map(entry));
  }

  function entry(_, place) {
    const line = document.createElement("li");
    const button = document.createElement("button");
    const done = store.of(set.items[place]).done;
    const mark = document.createElement("span");
    mark.setAttribute("aria-hidden", "true");
    mark.textContent = done ? "\u2713" : "";
    button.type = "button";
    button.append(String(place + 1), mark);
    button.setAttribute("aria-label", words_of("item", { n: place + 1, count: last })
      + ", " + words_of(done ? "state_kept" : "state_open"));
    if (place === at) button.setAttribute("aria-current", "step");
    button.addEventListener("click", () => show(place));
    line.append(button);
    return line;
  }

  // --- sound and needle ---

  let run = 0; // a number for each start: what an earlier one still has under way is void
  let heard_any = false;

  function rest() {
    dial.show(item(), 0, -Infinity);
  }

  function halt() {
    run += 1;
    sound.stop();
  }

  async function play() {
    if (sound.playing()) {
      halt();
      refresh();
      say(words_of("stopped"));
      return;
    }
    if (plays_left() <= 0) return;
    const own = (run += 1);
    say(words_of("loading"));
    try {
      await sound.awake();
      await sound.load(at);
    } catch (fault) {
      if (own === run) say(words_of("no_sound", { reason: fault.message }));
      return;
    }
    if (own !== run) return;
    heard_any = false;
    sound.start(() => {
      if (own !== run) return;
      if (lit()) feedback.light(item(), null);
      dial.show(item(), item().seconds, -Infinity);
      refresh();
      say(words_of("ended"));
    });
    state().started += 1; // counted at its start: a page that is closed gives nothing back
    kept();
    refresh();
    say(words_of("playing"));
    byId("mark").focus({ preventScroll: true });
    byId("dial").scrollIntoView({ block: "nearest" });
    requestAnimationFrame(() => step(own));
  }

  function step(own) {
    if (own !== run || !sound.playing()) return;
    const now_ms = performance.now();
    const time_s = sound.position_s(now_ms);
    dial.show(item(), time_s, now_ms);
    if (lit()) feedback.light(item(), time_s);
    requestAnimationFrame(() => step(own));
  }

  function mark(moment_ms) {
    if (!sound.playing() || told()) return;
    const time_s = sound.position_s(moment_ms);
    if (time_s < 0 || time_s > item().seconds) return;
    if (!heard_any) state().marks_s = [];
    heard_any = true;
    state().marks_s.push(Math.round(time_s * 1000) / 1000);
    byId("marks").textContent = words_of("marks", { n: state().marks_s.length });
    kept();
  }

  function tell() {
    if (sound.playing()) say(dial.words(dial.at(item(), sound.position_s(performance.now()))));
  }

  // --- answers ---

  function fault(name, text) {
    byId(name + "-fault").textContent = text;
    byId(name).setAttribute("aria-invalid", String(text !== ""));
  }

  // What was typed waits for its learner, and is no answer until it is kept.
  function typed() {
    if (told()) return;
    state().typed = {};
    for (const name of ["systolic", "diastolic"]) {
      state().typed[name] = byId(name).value;
      state().typed[name + "-none"] = byId(name + "-none").checked;
    }
    const values = Object.values(state().typed);
    if (!values.some((one) => one === true || (one !== false && one.trim()))) state().typed = null;
    kept();
  }

  // A number, null where it cannot be told, undefined where neither is right.
  function given(name) {
    const text = byId(name).value.trim();
    fault(name, "");
    if (byId(name + "-none").checked) return null;
    if (/^[0-9]{1,3}$/.test(text) && Number(text) <= 300) return Number(text);
    fault(name, text ? words_of("value_wrong", { text }) : words_of("value_missing"));
    return undefined;
  }

  function keep(event) {
    event.preventDefault();
    if (told()) return;
    const [systolic, diastolic] = [given("systolic"), given("diastolic")];
    if (systolic !== undefined && diastolic !== undefined && systolic !== null
        && diastolic !== null && diastolic >= systolic) {
      fault("diastolic", words_of("value_order", { systolic, diastolic }));
    }
    const wrong = ["systolic", "diastolic"].find(
      (name) => byId(name).getAttribute("aria-invalid") === "true");
    if (wrong) {
      byId(wrong).focus();
      return;
    }
    Object.assign(state(), { systolic, diastolic, done: true, typed: null });
    kept();
    const next = set.items.findIndex((one) => !store.of(one).done);
    if (tells_at_once) {
      show(at, false);
      byId("result-title").focus();
    } else if (next < 0) {
      show(at, false);
      byId("finish-title").focus();
    } else show(next);
    say(words_of("kept"));
  }

  function kept() {
    if (!store.keep()) byId("problem").textContent = words_of("not_kept");
  }

  // --- beginning and end ---

  function begin(event) {
    event.preventDefault();
    const code = set.learner || byId("code").value.trim();
    const right = store.allows(code);
    byId("code").setAttribute("aria-invalid", String(!right));
    byId("code-fault").textContent = right ? "" : code
      ? words_of("code_wrong", { text: code }) : words_of("code_missing");
    if (!right) {
      byId("code").focus();
      return;
    }
    store.open(code);
    byId("start").hidden = true;
    for (const name of ["work", "finish"]) byId(name).hidden = false;
    const open = set.items.findIndex((one) => !store.of(one).done);
    show(Math.max(open, 0));
    kept();
  }

  function save(kind) {
    if (!store.count()) {
      byId("handed").textContent = words_of("nothing");
      return;
    }
    const open = set.items.flatMap((one, n) => (store.of(one).typed ? [n + 1] : []));
    const left = open.length ? " " + words_of("typed_left", { items: open.join(", ") }) : "";
    byId("handed").textContent = words_of("saved", { file: store.hand_over(kind) }) + left;
  }

  let sure = false;
  function forget() {
    const button = byId("forget");
    if (sure) {
      store.forget(told());
      byId("handed").textContent = words_of(
        set.mode === "examine" ? "forgotten_but" : "forgotten");
      show(0, false);
    }
    sure = !sure;
    button.textContent = button.dataset[sure ? "sure" : "ask"];
  }

  async function tone(level) {
    try {
      await sound.awake();
      sound.tone(level);
    } catch (fault) {
      byId("tone-fault").textContent = words_of("no_sound", { reason: fault.message });
    }
  }

  // A press counts when the key or the finger goes down; the click that follows does not
  // count again. A screen reader may send a click with neither: it has no detail.
  function listen_for_marks() {
    const button = byId("mark");
    const press = (event) => mark(event.timeStamp);
    button.addEventListener("keydown", (event) => {
      if (event.key !== " " && event.key !== "Enter") return;
      event.preventDefault();
      if (!event.repeat) press(event);
    });
    button.addEventListener("keyup", (event) => { if (event.key === " ") event.preventDefault(); });
    button.addEventListener("pointerdown", press);
    button.addEventListener("click", (event) => {
      if (event.detail === 0) press(event);
    });
  }

  byId("code-form").addEventListener("submit", begin);
  byId("answer").addEventListener("submit", keep);
  byId("play").addEventListener("click", play);
  byId("tell").addEventListener("click", tell);
  byId("tone-loud").addEventListener("click", () => tone(set.tone.loud));
  byId("tone-faint").addEventListener("click", () => tone(set.tone.faint));
  byId("save-json").addEventListener("click", () => save("json"));
  byId("save-csv").addEventListener("click", () => save("csv"));
  byId("forget").addEventListener("click", forget);
  if (byId("next")) byId("next").addEventListener("click", () => show(at + 1));
  for (const name of ["systolic", "diastolic"]) {
    byId(name + "-none").addEventListener("change", (event) => {
      byId(name).disabled = event.target.checked;
      if (event.target.checked) byId(name).value = "";
      fault(name, "");
      typed();
    });
    byId(name).addEventListener("input", typed);
  }
  listen_for_marks();
})();
