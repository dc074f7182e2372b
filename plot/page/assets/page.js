// The page: takes events, shows the channel in focus, and says so when there
// are none.
'use strict';
(() => {
  const staleMS = 1500, checkMS = 200, againMS = 600, speakMS = 4000;
  const get = id => document.getElementById(id);
  const say = (id, text) => { const e = get(id); if (e.textContent !== text) e.textContent = text; };

  let focus = 0, latest = new Map(), labels = new Map(), about = null;
  let heardAt = 0, connected = false, source = null, spokenAt = 0, spoken = '', bestSeen = null, updates = 0;

  const signed = v => (v < -0.05 ? '−' : v > 0.05 ? '+' : '') + Math.abs(v).toFixed(1);
  // What is followed: the margin, or of what is no 8-VSB its C/N or its level.
  const gauges = {
    margin: { of: l => l.margin_db, unit: 'dB margin', text: signed, pitch: v => v },
    cn: { of: l => l.cn_db, unit: 'dB C/N', text: v => (v < -0.05 ? '−' : '') + Math.abs(v).toFixed(1), pitch: v => v - 15 },
    level: { of: l => l.level_dbfs, unit: 'dBFS', text: signed, pitch: v => v + 30 },
  };
  const gauge = line => gauges[line.gauge || 'margin'];
  const figure = line => { const v = gauge(line).of(line); return v === undefined ? null : v; };
  const title = n => 'Channel ' + n + (labels.get(n) ? ', ' + labels.get(n) : '');

  function connect() {
    if (source) source.close();
    source = new EventSource('events');
    source.onopen = () => { connected = true; };
    source.onmessage = m => { connected = true; take(JSON.parse(m.data)); };
    source.onerror = () => {
      connected = false;
      source.close();
      source = null;
      setTimeout(connect, againMS);
    };
  }

  function take(event) {
    if (!event.channels.length) return;
    const now = Date.now();
    heardAt = now;
    updates++;
    for (const line of event.channels) {
      const before = latest.get(line.rf_channel);
      if (before && before.time === line.time && before.state === line.state) continue;
      if (before && gauge(before) !== gauge(line)) {
        trace.forget(line.rf_channel);
        if (line.rf_channel === focus) { bestSeen = null; rooftone.focus(); }
      }
      latest.set(line.rf_channel, line);
      trace.add(line.rf_channel, now, figure(line));
    }
    if (!latest.has(focus)) choose(event.channels[0].rf_channel);
    say('marks', event.marks ? event.marks + ' marked, the last: ' + event.last_mark : '');
    const line = latest.get(focus);
    // In quarters, for it is read out as well.
    if (marking && line.progress >= 0.25) say('kept', 'Hold still: ' + 25 * Math.floor(4 * line.progress) + ' %');
    const heard = figure(line), pitch = gauge(line).pitch;
    rooftone.hear(heard === null ? null : pitch(heard), bestSeen === null ? null : pitch(bestSeen), !line.gauge);
    if (line.best_db !== null) bestSeen = line.best_db;
    document.body.className = line.state;
    say('alarm', warning(line));
    show(line, now);
    tabs();
    speak(line, now);
  }

  function warning(line) {
    if (line.overload) return 'Too strong: the radio is overloaded';
    if (line.lost) return 'The computer is too slow: samples were lost';
    return '';
  }

  function show(line, now) {
    say('name', title(line.rf_channel));
    const m = figure(line), text = gauge(line).text;
    say('unit', gauge(line).unit);
    say('number', m === null ? '–' : text(m));
    say('where', words(line));
    say('best', line.best_db === null ? '' : m === null ? 'best ' + text(line.best_db) :
      line.below_best_db < 0.15 ? 'at the best so far, ' + text(line.best_db) :
      line.below_best_db.toFixed(1) + ' below the best, ' + text(line.best_db));
    const foot = [];
    if (line.cn_db !== null && line.gauge !== 'cn') foot.push('C/N ' + line.cn_db.toFixed(1) + ' dB');
    if (line.mer_db !== null) foot.push('MER ' + line.mer_db.toFixed(1) + ' dB');
    if (line.margin_sigma_db !== null && line.margin_sigma_db !== undefined) foot.push('± ' + line.margin_sigma_db.toFixed(1));
    if (line.seen_share !== undefined) foot.push(part(line.seen_share));
    say('foot', foot.join(' · '));
    trace.draw(get('trace'), line.rf_channel, now, line.best_db, !line.gauge);
  }

  // part says how much of a channel of 6 MHz is heard, where that is not all of it.
  const part = share => (6 * share).toFixed(6 * share < 1 ? 2 : 1) + '\u00a0of\u00a06\u00a0MHz\u00a0heard';

  function words(line) {
    if (line.state === 'learning') {
      return marking || line.progress ? 'listening, hold still: ' + Math.round(100 * (line.progress || 0)) + ' %' : 'listening carefully, a moment…';
    }
    if (line.state === 'uncovered') return 'the recording holds nothing usable of it';
    if (line.occupied) return 'no television station is on it';
    if (line.state === 'nothing') return 'nothing heard' + (line.at_most_db === undefined ? '' : ', ' + (line.gauge ? 'C/N ' : '') + 'below ' + gauge(line).text(line.at_most_db) + ' dB');
    const t = { rising: ', rising ↗', falling: ', falling ↘' }[line.trend] || '';
    if (line.standard === 'atsc3') return 'ATSC 3.0, by its ' + (line.gauge === 'level' ? 'level' : 'C/N') + t;
    if (line.gauge) return 'a signal, but no 8-VSB in it' + t;
    const strong = line.grade ? 'decodes, ' + line.grade :
      line.training_unsought ? 'decodes, if it is a station' : 'a signal, but no 8-VSB in it';
    const w = line.margin_db >= 0 ? strong : 'cannot decode yet';
    return w + t;
  }

  function tabs() {
    if (!about || about.channels.length < 2) return;
    for (const b of get('channels').children) {
      const n = +b.dataset.channel, line = latest.get(n);
      const v = line ? figure(line) : null, text = v === null ? '–' : gauge(line).text(v);
      if (b.lastChild.textContent !== text) b.lastChild.textContent = text;
    }
  }

  function choose(n) {
    focus = n;
    bestSeen = null;
    rooftone.focus();
    for (const b of get('channels').children) b.setAttribute('aria-pressed', String(+b.dataset.channel === n));
    const line = latest.get(n);
    if (line) { bestSeen = line.best_db; show(line, Date.now()); }
    spokenAt = 0;
  }

  function speak(line, now) {
    if (now - spokenAt < speakMS) return;
    let text = title(line.rf_channel) + ': ';
    const v = figure(line);
    if (v === null || line.occupied) text += words(line);
    else {
      // Only what is 8-VSB, or too weak to tell, has dB to spare or is short of them.
      if (line.standard === 'atsc3') text += 'ATSC 3.0, ' + v.toFixed(0) + ' ' + gauge(line).unit;
      else if (line.gauge || v >= 0 && !line.grade) text += line.gauge ? 'no 8-VSB, ' + v.toFixed(0) + ' ' + gauge(line).unit : words(line);
      else text += Math.abs(v).toFixed(0) + ' dB ' + (v >= 0 ? 'to spare' : 'short');
      if (line.trend && line.trend !== 'steady') text += ', ' + line.trend;
      if (line.below_best_db >= 0.5) text += ', ' + line.below_best_db.toFixed(0) + ' below the best';
      else if (line.below_best_db !== null) text += ', at the best';
    }
    if (text === spoken) return;
    spoken = text;
    spokenAt = now;
    say('spoken', text);
  }

  // check keeps a stopped meter from looking alive.
  function check() {
    const age = Date.now() - heardAt;
    if (heardAt && age < staleMS) return;
    const line = latest.get(focus);
    if (heardAt && line && line.state === 'learning' && connected && age < 6000) return;
    document.body.className = heardAt ? 'stale' : 'waiting';
    rooftone.lost();
    for (const b of get('channels').children) b.lastChild.textContent = '–';
    say('number', '–');
    say('best', line && line.best_db !== null ? 'best ' + gauge(line).text(line.best_db) : '');
    say('foot', '');
    // The alarm is read out when it changes, so the seconds stand elsewhere.
    say('where', heardAt ? 'last number ' + Math.floor(age / 1000) + '\u00a0s ago' : '');
    say('alarm', !heardAt ? 'Waiting for the meter…' :
      'Stopped: ' + (connected ? 'the meter sends nothing' : 'no connection to the meter'));
  }

  async function send(path, what) {
    const r = await fetch(path, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(what) });
    const a = await r.json();
    if (!r.ok) throw new Error(a.error);
    return a.said;
  }

  let marking = false;
  async function mark(quick) {
    if (marking) return;
    const place = get('place').value.trim(), heading = get('bearing').value.trim().replace(',', '.').replace('°', '');
    if (!place) { say('kept', 'Give the place a name first'); get('place').focus(); return; }
    const what = { place, quick };
    if (heading) {
      what.bearing_deg = Number(heading);
      if (!(what.bearing_deg >= 0 && what.bearing_deg <= 360)) { say('kept', 'The heading is a number from 0 to 360'); return; }
    }
    const height = get('height').value.trim().replace(',', '.');
    if (height) {
      // A number alone is in the house's units.
      const m = /^(-?[0-9.]+)\s*(m|ft|feet|)$/i.exec(height);
      const typed = !m ? '' : /^f/i.test(m[2]) ? 'feet' : m[2] ? 'metres' : '';
      what.height_m = m ? Math.round(100 * Number(m[1]) * ((typed || about.units) === 'feet' ? 0.3048 : 1)) / 100 : NaN;
      if (!(Math.abs(what.height_m) <= 9000)) { say('kept', 'The height is a number, in ft or m'); return; }
      what.units = typed;
    }
    marking = true;
    get('careful').disabled = get('quick').disabled = true;
    say('kept', quick || !about.careful ? 'Keeping…' : 'Listening to all wanted channels: hold still…');
    try { say('kept', await send('mark', what)); }
    catch (err) { say('kept', err instanceof TypeError ? 'No answer: what is kept shows below once the connection is back' : 'Not kept: ' + err.message); }
    marking = false;
    get('careful').disabled = get('quick').disabled = false;
  }

  async function sound() {
    if (rooftone.on()) rooftone.stop(); else await rooftone.start();
    get('sound').setAttribute('aria-pressed', String(rooftone.on()));
    say('sound', rooftone.on() ? 'Sound is on' : 'Sound is off');
    awake();
  }

  let lock = null;
  async function awake() {
    if (document.visibilityState !== 'visible' || lock) return;
    try {
      if (!navigator.wakeLock) throw 0;
      lock = await navigator.wakeLock.request('screen');
      lock.onrelease = () => { lock = null; };
      say('awake', 'The screen is kept awake.');
    } catch { say('awake', 'This browser does not let the page keep the screen awake: set the phone’s screen timeout longer meanwhile.'); }
  }

  async function begin() {
    try { about = await (await fetch('about')).json(); }
    catch { setTimeout(begin, againMS); return; }
    for (const c of about.channels) labels.set(c.rf_channel, c.label || '');
    get('mark').hidden = !about.marks;
    get('reset').hidden = !about.resets;
    get('quick').hidden = !about.careful;
    if (about.units) say('heightname', 'Height in ' + about.units + ', if it matters');
    if (about.north) say('bearingname', 'Heading in degrees ' + (about.north === 'true' ? 'from true north' : 'by compass') + ', if known');
    if (about.careful) say('careful', 'Mark carefully: hold still');
    if (about.channels.length > 1) {
      for (const c of about.channels) {
        const b = document.createElement('button'), n = document.createElement('span'), who = document.createElement('i'), v = document.createElement('b');
        b.type = 'button';
        b.dataset.channel = c.rf_channel;
        n.textContent = 'RF ' + c.rf_channel;
        v.textContent = '–';
        who.textContent = c.label || '';
        b.append(n, who, v);
        b.onclick = () => choose(c.rf_channel);
        get('channels').append(b);
      }
    }
    choose(about.channels[0].rf_channel);
    connect();
  }

  get('sound').onclick = sound;
  get('mark').onsubmit = e => { e.preventDefault(); mark(false); };
  get('quick').onclick = () => mark(true);
  get('reset').onclick = () => { bestSeen = null; send('reset', { rf_channel: focus }).catch(() => {}); };
  document.onvisibilitychange = awake;
  rooftone.updates = () => updates;
  setInterval(check, checkMS);
  check();
  awake();
  begin();
})();
