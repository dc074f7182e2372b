// The last half minute of one channel's margin, drawn plain: time runs to the
// right, the decode point is a line, the best a dashed one.
'use strict';
const trace = (() => {
  const span = 30000, least = 6;
  const points = new Map(); // by channel

  function add(channel, at, db) {
    let list = points.get(channel);
    if (!list) points.set(channel, list = []);
    list.push([at, db]);
    while (list.length && list[0][0] < at - span) list.shift();
  }

  function forget(channel) { points.delete(channel); }

  function draw(canvas, channel, now, best, decodable) {
    const scale = window.devicePixelRatio || 1;
    const w = canvas.clientWidth, h = canvas.clientHeight;
    if (canvas.width !== Math.round(w * scale)) canvas.width = Math.round(w * scale);
    if (canvas.height !== Math.round(h * scale)) canvas.height = Math.round(h * scale);
    const g = canvas.getContext('2d');
    g.setTransform(scale, 0, 0, scale, 0, 0);
    g.clearRect(0, 0, w, h);
    const list = (points.get(channel) || []).filter(p => p[0] > now - span);
    const values = list.map(p => p[1]).filter(v => v !== null);
    if (!values.length) return;
    let low = Math.min(...values), high = Math.max(...values);
    if (best !== null) high = Math.max(high, best);
    // Swings of a dB are worth seeing; the noise of a tenth is not.
    const grow = Math.max(0, least - (high - low)) / 2;
    low -= grow + 0.5; high += grow + 0.5;
    const right = 44;
    const x = t => (w - right) * (1 - (now - t) / span), y = v => 8 + (h - 16) * (1 - (v - low) / (high - low));
    g.font = '14px system-ui, sans-serif';
    g.fillStyle = '#000';
    g.textBaseline = 'middle';
    const level = (v, dash, text) => {
      if (v < low || v > high) return;
      g.setLineDash(dash);
      g.lineWidth = 1.5;
      g.strokeStyle = '#555';
      g.beginPath(); g.moveTo(0, y(v)); g.lineTo(w - right, y(v)); g.stroke();
      g.fillText(text, w - right + 5, y(v));
    };
    if (best !== null && (!decodable || Math.abs(y(best) - y(0)) > 14 || 0 < low || 0 > high)) level(best, [6, 5], 'best');
    if (decodable) level(0, [], '0 dB');
    g.setLineDash([]);
    g.lineWidth = 3.5;
    g.lineJoin = 'round';
    g.strokeStyle = '#101a3c';
    g.beginPath();
    let pen = false, last = 0;
    for (const [t, v] of list) {
      if (v === null) { pen = false; continue; }
      if (pen && t - last < 1500) g.lineTo(x(t), y(v)); else g.moveTo(x(t), y(v));
      pen = true; last = t;
    }
    g.stroke();
  }
  return { add, forget, draw };
})();
