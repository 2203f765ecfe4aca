// The ward screen's sounds, made here without a file, after IEC 60601-1-8 (values from memory): high 10 pulses in two
// groups of 3 + 2, medium 3, low 2; fundamental within 150-1000 Hz with five harmonics within 15 dB; high the loudest.
// A browser makes no sound before somebody has touched the page: what is said of the sound is what it really does.
(() => {
  const PULSE = {
    high: { hz: 523, long: 0.15, gain: 0.9, starts: [], every: 8000 },
    medium: { hz: 392, long: 0.2, gain: 0.6, starts: [0, 0.4, 0.8], every: 20000 },
    low: { hz: 330, long: 0.2, gain: 0.4, starts: [0, 0.4], every: 0 },
    reminder: { hz: 330, long: 0.2, gain: 0.3, starts: [0], every: 180000 },
  };
  // Between starts: x, x, 2x + a pulse, x, then the pause of 0.35-1.3 s between the halves; x is pulse and spacing.
  const x = 0.25;
  const half = [0, x, 2 * x, 4 * x, 5 * x];
  PULSE.high.starts = [...half, ...half.map((s) => s + 5 * x + 0.15 + 0.6)];
  const RANK = { low: 1, medium: 2, high: 3 };
  const PAUSE_MS = 120000;
  const HARMONICS = [0, 1, 0.8, 0.7, 0.6, 0.5];

  const burst = (ctx, name, at) => {
    const one = PULSE[name];
    const wave = ctx.createPeriodicWave(new Float32Array(HARMONICS.length), new Float32Array(HARMONICS));
    const rise = one.long * 0.2;
    for (const start of one.starts) {
      const tone = ctx.createOscillator();
      const loud = ctx.createGain();
      tone.setPeriodicWave(wave);
      tone.frequency.value = one.hz;
      const from = at + start;
      loud.gain.setValueAtTime(0, from);
      loud.gain.linearRampToValueAtTime(one.gain, from + rise);
      loud.gain.setValueAtTime(one.gain, from + one.long - rise);
      loud.gain.linearRampToValueAtTime(0, from + one.long);
      tone.connect(loud).connect(ctx.destination);
      tone.start(from);
      tone.stop(from + one.long + 0.02);
      if (ctx === sound.ctx) { sound.playing.push(tone); }
    }
    if (ctx === sound.ctx) { sound.log.push([name, Math.round(performance.now())]); }
  };

  const hush = () => {
    sound.playing.splice(0).forEach((tone) => { try { tone.stop(); } catch { /* it was over */ } });
  };

  // Whether sound really comes out of the browser: its clock of sound must go on, whatever its state is called.
  const runs = (now) => {
    const ctx = sound.ctx;
    if (!ctx || ctx.state !== "running") { sound.seen = null; return false; }
    const seen = sound.seen;
    if (!seen) { sound.seen = { t: ctx.currentTime, at: now }; return false; }
    if (ctx.currentTime > seen.t) { sound.seen = { t: ctx.currentTime, at: now }; return true; }
    return now - seen.at < 1000;
  };

  const allow = () => {
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!Context) { return; }
    try { localStorage.setItem("sw-sound", "1"); } catch { /* not kept then */ }
    sound.wanted = true;
    sound.ctx = sound.ctx || new Context();
    sound.ctx.resume().then(() => { burst(sound.ctx, "low", sound.ctx.currentTime + 0.05); }, () => {});
    stayAwake();
  };

  // A tablet that sleeps shows and sounds nothing; a browser may refuse, and gives it up when the page is hidden.
  const stayAwake = () => {
    if (sound.wanted && document.visibilityState === "visible") { navigator.wakeLock?.request("screen").catch(() => {}); }
  };

  const pause = (now) => {
    sound.pausedUntil = now + PAUSE_MS;
    sound.pausedTags = new Set(sound.signals.map((one) => one[0]));
    hush();
  };

  // What is to be heard now: [state, priority or minutes left]. A new or higher alarm ends a pause.
  const due = (now) => {
    const open = sound.signals.filter((one) => !one[2]);
    if (now < sound.pausedUntil && open.some((one) => !sound.pausedTags.has(one[0]))) { sound.pausedUntil = 0; }
    if (now < sound.pausedUntil && open.length) { return ["paused", sound.pausedUntil - now]; }
    sound.pausedUntil = 0;
    const repeated = open.filter((one) => RANK[one[1]] > 1 || !sound.heard.has(one[0]));
    if (repeated.length) {
      return ["alarm", repeated.reduce((a, b) => (RANK[b[1]] > RANK[a[1]] ? b : a))[1]];
    }
    return sound.signals.some((one) => one[2] && RANK[one[1]] > 1) ? ["acked", PULSE.reminder.every / 60000] : ["calm"];
  };

  // Called four times a second; returns what the screen has to say of its sound.
  const turn = (now) => {
    const [what, more] = due(now);
    const running = runs(now);
    if (!window.AudioContext && !window.webkitAudioContext) { return ["none"]; }
    if (!sound.wanted) { return ["off"]; }
    if (!running) { return ["blocked"]; }
    const name = what === "alarm" ? more : what === "acked" ? "reminder" : "";
    const rank = RANK[name] || 0;
    if (!rank && sound.rank) { hush(); }  // acknowledged or paused in the middle of a burst
    if (name === "reminder" && sound.last.name !== "reminder") { sound.last = { name, at: now }; }
    const again = name !== sound.last.name || (PULSE[name]?.every && now - sound.last.at >= PULSE[name].every);
    if (name && again) {
      if (rank > sound.rank) { hush(); }
      burst(sound.ctx, name, sound.ctx.currentTime + 0.05);
      sound.last = { name, at: now };
      if (name === "low") { sound.signals.forEach((one) => { if (one[1] === "low") { sound.heard.add(one[0]); } }); }
    }
    if (!name) { sound.last = { name: "", at: 0 }; }
    sound.rank = rank;
    return what === "alarm" ? ["sounding", more] : [what, more];
  };

  const sound = window.swSound || {
    ctx: null, seen: null, wanted: false, signals: [], playing: [], pausedUntil: 0, pausedTags: new Set(),
    heard: new Set(), last: { name: "", at: 0 }, rank: 0, log: [],
  };
  Object.assign(sound, { PULSE, burst, allow, pause, turn, stayAwake });
  window.swSound = sound;
  if (!sound.ctx) {
    try { sound.wanted = localStorage.getItem("sw-sound") === "1"; } catch { sound.wanted = false; }
    const Context = window.AudioContext || window.webkitAudioContext;
    if (sound.wanted && Context) { sound.ctx = new Context(); }
  }
})();
