// What the learner has said: kept in this browser, handed over as files.
const store = (() => {
  const CODE = /^[A-Za-z0-9][A-Za-z0-9-]{0,19}$/;
  let learner = "";
  let states = {};
  let works = true;

  const place = () => ["tapfall.answers/1", set.set_id, set.mode, learner].join(" ");

  // ``typed`` is what stands in the fields and was not kept as an answer.
  // ``told``: answers given from now on are given by one who has been told them.
  function fresh() {
    return {
      started: 0, marks_s: [], systolic: null, diastolic: null, done: false, told: false,
      typed: null,
    };
  }

  function open(code) {
    learner = code.toUpperCase();
    states = {};
    try {
      const found = JSON.parse(localStorage.getItem(place()) || "{}");
      for (const item of set.items) {
        if (found[item.name]) states[item.name] = { ...fresh(), ...found[item.name] };
      }
    } catch { works = false; }
    for (const item of set.items) states[item.name] = states[item.name] || fresh();
    keep();
  }

  function keep() {
    try { localStorage.setItem(place(), JSON.stringify(states)); } catch { works = false; }
    return works;
  }

  // An examination does not begin anew: how often a sound was started stays, and that the page
  // has told its answers.
  function forget(told) {
    for (const item of set.items) {
      const { started, told: before } = states[item.name];
      states[item.name] = set.mode === "examine"
        ? { ...fresh(), started, told: told || before } : fresh();
    }
    if (set.mode === "examine") {
      keep();
      return;
    }
    try { localStorage.removeItem(place()); } catch { works = false; }
  }

  // The form that both files and every marker share: what was not answered is left out.
  function answers() {
    return {
      schema: "tapfall.answers/1",
      set_id: set.set_id,
      learner,
      saved: new Date().toISOString().slice(0, 19) + "Z",
      // Whoever was told the answers before giving these has practised.
      mode: set.items.some((item) => states[item.name].told) ? "practise" : set.mode,
      answers: set.items.filter((item) => states[item.name].done).map((item) => {
        const state = states[item.name];
        return {
          item: item.name,
          systolic_mmHg: state.systolic,
          diastolic_mmHg: state.diastolic,
          marks_s: state.marks_s,
          replays: Math.max(0, state.started - 1),
        };
      }),
    };
  }

  function csv(all) {
    const head = ["set_id", "learner", "saved", "mode", "item",
      "systolic_mmHg", "diastolic_mmHg", "replays", "marks_s"];
    const rows = all.answers.map((one) => [
      all.set_id, all.learner, all.saved, all.mode, one.item,
      one.systolic_mmHg ?? "", one.diastolic_mmHg ?? "", one.replays, one.marks_s.join(" ")]);
    return [head, ...rows].map((row) => row.join(",") + "\n").join("");
  }

  function hand_over(kind) {
    const all = answers();
    const text = kind === "json" ? JSON.stringify(all, null, 2) + "\n" : csv(all);
    const type = kind === "json" ? "application/json" : "text/csv";
    const name = `answers-${set.set_id}-${learner}.${kind}`;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type }));
    link.download = name;
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    return name;
  }

  return {
    open, keep, forget, hand_over,
    allows: (code) => CODE.test(code),
    of: (item) => states[item.name],
    count: () => set.items.filter((item) => states[item.name].done).length,
  };
})();
