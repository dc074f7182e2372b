// What the sound says of a margin. Everything that is scheduled is noted in
// `scheduled`, the newest last, so that it can be looked at.
'use strict';
const rooftone = (() => {
  const decodeHz = 440, semitonesPerDB = 1, lowestDB = -24, highestDB = 30;
  const everySeconds = 0.2, noteSeconds = 0.1, aheadSeconds = 0.15, noted = 400;
  const chimeEverySeconds = 1.2, bestAwayDB = 1, bestNearDB = 0.2, decodeDB = 0.15;

  const scheduled = [];
  let audio = null, volume = null, timer = 0, next = 0;
  let margin = null, decodes = null, away = true, chimed = -1e9, alive = false, smooth = false;

  const pitch = db => decodeHz * 2 ** (Math.min(highestDB, Math.max(lowestDB, db)) * semitonesPerDB / 12);

  function note(kind, hz, at, seconds, type, level) {
    scheduled.push({ kind, hz, at, marginDB: margin, wall: Date.now() });
    if (scheduled.length > noted) scheduled.splice(0, scheduled.length - noted);
    const tone = audio.createOscillator(), gain = audio.createGain();
    tone.type = type;
    tone.frequency.value = hz;
    gain.gain.setValueAtTime(0, at);
    gain.gain.linearRampToValueAtTime(level, at + 0.008);
    gain.gain.setValueAtTime(level, at + Math.max(0.01, seconds - 0.03));
    gain.gain.linearRampToValueAtTime(0, at + seconds);
    tone.connect(gain).connect(volume);
    tone.start(at);
    tone.stop(at + seconds + 0.02);
    tone.onended = () => { tone.disconnect(); gain.disconnect(); };
  }

  function tick() {
    if (!audio || !alive || margin === null) return;
    const now = audio.currentTime;
    if (next < now) next = now + 0.02;
    while (next < now + aheadSeconds) {
      if (margin >= 0 || smooth) note('note', pitch(margin), next, noteSeconds, 'sine', 0.5);
      else note('note', pitch(margin), next, noteSeconds, 'sawtooth', 0.22);
      next += everySeconds;
    }
  }

  // two plays two quick notes and keeps the others back meanwhile.
  function two(kind, first, second) {
    if (!audio) return;
    const at = audio.currentTime + 0.02;
    note(kind, first, at, 0.09, 'square', 0.25);
    note(kind, second, at + 0.1, 0.16, 'square', 0.25);
    next = at + 0.34;
  }

  function chime() {
    if (!audio) return;
    const at = audio.currentTime + 0.02;
    if (at - chimed < chimeEverySeconds) return;
    chimed = at;
    note('best', 1760, at, 0.22, 'triangle', 0.35);
    note('best', 2637, at + 0.05, 0.3, 'triangle', 0.3);
    next = Math.max(next, at + 0.2);
  }

  return {
    scheduled, pitch,
    on: () => audio !== null && audio.state !== 'closed',
    // start must be called from a touch: browsers want that.
    async start() {
      audio = new AudioContext();
      volume = audio.createGain();
      volume.gain.value = 0.8;
      volume.connect(audio.destination);
      await audio.resume();
      next = audio.currentTime + 0.05;
      timer = setInterval(tick, 40);
    },
    stop() {
      clearInterval(timer);
      if (audio) audio.close();
      audio = null;
    },
    // hear takes the reading in focus: its margin and the best, null when
    // there is none. What has no decode point that is known sounds smooth throughout.
    hear(db, bestDB, decodable) {
      alive = true;
      margin = db;
      smooth = !decodable;
      if (db === null) return;
      if (!decodable) decodes = null;
      else if (decodes === null) decodes = db >= 0;
      else if (!decodes && db > decodeDB) { decodes = true; two('decode', 660, 990); }
      else if (decodes && db < -decodeDB) { decodes = false; two('undecode', 990, 660); }
      if (bestDB === null) return;
      if (bestDB - db > bestAwayDB) away = true;
      else if (away && bestDB - db < bestNearDB) { away = false; chime(); }
      else if (db > bestDB + bestNearDB) chime();
    },
    raised() { chime(); },
    // focus begins with another channel.
    focus() { margin = null; decodes = null; away = true; smooth = false; },
    lost() {
      if (!alive) return;
      alive = false;
      margin = null;
      if (audio) note('lost', 110, audio.currentTime + 0.02, 0.7, 'sawtooth', 0.4);
    },
  };
})();
