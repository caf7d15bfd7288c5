// The sound: decoded, started, and where in it the ear is.
const sound = (() => {
  const LEAD_S = 0.1; // from the press to the first sample: time to schedule it
  const PATIENCE_MS = 4000; // a machine without a sound device never resumes
  const USABLE_S = 0.5; // a time stamp further from the context's clock is none
  let context = null;
  let buffer = null;
  let held = -1;
  let source = null;
  let tones = [];
  let started_s = 0;

  async function awake() {
    context = context || new AudioContext();
    if (context.state === "running") return;
    const late = new Promise((_, no) =>
      setTimeout(() => no(new Error("no sound device")), PATIENCE_MS));
    await Promise.race([context.resume(), late]);
  }

  async function load(index) {
    if (held === index) return;
    const text = atob(document.getElementById("sound-" + index).textContent.trim());
    const bytes = Uint8Array.from(text, (letter) => letter.charCodeAt(0));
    buffer = null;
    held = -1;
    buffer = await context.decodeAudioData(bytes.buffer);
    held = index;
  }

  // What leaves the loudspeaker at a moment of performance.now(), in the context's time.
  function heard_s(moment_ms) {
    const latency_s = context.outputLatency || context.baseLatency || 0;
    const plain_s = context.currentTime - latency_s - (performance.now() - moment_ms) / 1000;
    const stamp = context.getOutputTimestamp ? context.getOutputTimestamp() : null;
    if (!stamp || !stamp.performanceTime || !stamp.contextTime) return plain_s;
    const stamped_s = stamp.contextTime + (moment_ms - stamp.performanceTime) / 1000;
    return Math.abs(stamped_s - plain_s) < USABLE_S ? stamped_s : plain_s;
  }

  function stop() {
    if (source) {
      source.onended = null;
      source.stop();
      source = null;
    }
  }

  function start(ended) {
    stop();
    hush();
    source = context.createBufferSource();
    source.buffer = buffer;
    source.connect(context.destination);
    source.onended = () => { source = null; ended(); };
    started_s = context.currentTime + LEAD_S;
    source.start(started_s);
  }

  function hush() {
    for (const one of tones) one.stop();
    tones = [];
  }

  // A low tone, four times; the gain rises and falls so that nothing clicks.
  function tone(level) {
    hush();
    const gain = context.createGain();
    gain.gain.value = 0;
    gain.connect(context.destination);
    const now = context.currentTime + 0.05;
    for (let turn = 0; turn < 4; turn += 1) {
      const from = now + turn * 0.8;
      gain.gain.setValueAtTime(0, from);
      gain.gain.linearRampToValueAtTime(level, from + 0.05);
      gain.gain.setValueAtTime(level, from + 0.45);
      gain.gain.linearRampToValueAtTime(0, from + 0.5);
    }
    const wave = context.createOscillator();
    wave.frequency.value = set.tone.hz;
    wave.connect(gain);
    wave.start(now);
    wave.stop(now + 3.2);
    tones = [wave];
  }

  return {
    awake, load, start, stop, tone,
    playing: () => source !== null,
    position_s: (moment_ms) => heard_s(moment_ms) - started_s,
  };
})();
