// The crosshair: reads all channels at one moment, by pointer and by keyboard. To a screen
// reader it is a slider over time whose value is what was read.
'use strict';
(() => {
  if (!trend) return;
  const near = 14; // px within which a mark is told
  const most = 3; // marks that are told at once
  const { surface, stage } = trend;
  const readout = document.getElementById('trend-readout');
  const line = document.createElement('div');
  line.className = 'line';
  line.hidden = true;
  let at = null; // ms

  surface.className = 'surface';
  surface.tabIndex = 0;
  for (const [name, value] of Object.entries({
    role: 'slider', 'aria-label': 'Moment in the picture', 'aria-orientation': 'horizontal',
    'aria-valuemin': '0', 'aria-valuenow': '0', 'aria-valuetext': 'none chosen',
  })) surface.setAttribute(name, value);

  const width = () => (trend.cross.to_ms - trend.cross.from_ms) / trend.cross.columns;
  const column = () => Math.min(Math.max(Math.floor((at - trend.cross.from_ms) / width()), 0), trend.cross.columns - 1);

  // A moment on the site's wall.
  const clock = (ms) => {
    let zone = trend.cross.zone[0];
    for (const z of trend.cross.zone) if (z.at_ms <= ms) zone = z;
    const d = new Date(ms + 1000 * zone.seconds);
    const two = (n) => String(n).padStart(2, '0');
    const day = d.toLocaleDateString('en-US', { weekday: 'short', month: 'short', day: 'numeric', timeZone: 'UTC' });
    const seconds = width() < 60000 ? ':' + two(d.getUTCSeconds()) : '';
    return `${day}, ${two(d.getUTCHours())}:${two(d.getUTCMinutes())}${seconds} ${zone.name}`;
  };

  // What a channel read in a column, or near it where readings are rarer than columns.
  const read = (channel, i) => {
    for (let d = 0; d <= trend.cross.hold; d++) {
      for (const j of [i - d, i + d]) {
        if (channel.texts[j]) return { name: channel.name, text: `${channel.texts[j]} ${channel.unit}`, range: channel.ranges[j] };
      }
    }
    return { name: channel.name, text: 'no reading', range: '' };
  };

  const tell = () => {
    const { cross } = trend;
    const i = column();
    const values = cross.channels.map((c) => read(c, i));
    const phase = cross.phases && cross.phases.find((p) => p.from_ms <= at && at < p.to_ms);
    const reach = near / (trend.right() - trend.left()) * (trend.view.to - trend.view.from);
    const marks = (cross.marks || []).filter((m) => m.from_ms - reach <= at && at <= m.to_ms + reach);
    return { when: clock(cross.from_ms + (i + 0.5) * width()), values, phase: phase ? phase.what : cross.phases ? 'phase not known' : '', marks };
  };

  const element = (name, text, ...children) => {
    const e = document.createElement(name);
    if (text) e.textContent = text;
    e.append(...children);
    return e;
  };

  const draw = () => {
    const inside = at !== null && at >= trend.view.from && at <= trend.view.to;
    line.hidden = !inside;
    readout.hidden = at === null;
    if (!inside) return;
    const s = trend.scale();
    line.style.left = trend.xAt(at) - 1 + 'px';
    line.style.top = trend.cross.top * s + 'px';
    line.style.height = (trend.cross.bottom - trend.cross.top) * s + 'px';
    if (at < trend.cross.from_ms || at > trend.cross.to_ms) return; // the new picture will tell
    const told = tell();
    readout.replaceChildren(
      element('p', '', element('b', told.when), ' ', told.phase),
      element('dl', '', ...told.values.map((v) => element('div', '', element('dt', v.name), element('dd', v.text, ' ', element('small', v.range))))),
    );
    const some = told.marks.slice(0, most).map((m) => element('li', `${clock(m.from_ms).split(', ').pop()}: ${m.what}`));
    if (told.marks.length > most) some.push(element('li', `and ${told.marks.length - most} more`));
    if (some.length) readout.append(element('ul', '', ...some));
    surface.setAttribute('aria-valuemax', trend.cross.columns - 1);
    surface.setAttribute('aria-valuenow', column());
    surface.setAttribute('aria-valuetext', [
      told.when, ...(told.phase ? [told.phase] : []), ...told.values.map((v) => `${v.name} ${v.text}`), ...told.marks.slice(0, most).map((m) => m.what),
    ].join(', '));
  };

  trend.point = (ms) => { at = ms; draw(); };
  trend.pointed = () => at;
  trend.redraw = draw;
  trend.shown.push(() => {
    if (!line.isConnected) stage.append(line);
    surface.setAttribute('aria-valuemax', trend.cross.columns - 1);
    draw();
  });

  surface.addEventListener('keydown', (e) => {
    if (!trend.cross || e.ctrlKey || e.metaKey || e.altKey) return;
    const { from, to } = trend.view;
    const here = at !== null && at >= from && at <= to ? at : (from + to) / 2;
    const step = (n) => {
      const next = here + n * width();
      // Beyond an end the window goes along.
      if (next < from || next > to) trend.moveTo(from + n * width() * 5, to + n * width() * 5);
      trend.point(Math.min(Math.max(next, trend.cross.kept_from_ms), trend.cross.kept_to_ms));
    };
    const half = (to - from) / 2;
    const keys = {
      ArrowLeft: () => step(e.shiftKey ? -20 : -1),
      ArrowRight: () => step(e.shiftKey ? 20 : 1),
      ArrowDown: () => step(-20),
      ArrowUp: () => step(20),
      Home: () => trend.point(from),
      End: () => trend.point(to - 1),
      PageUp: () => trend.moveTo(from - half, to - half),
      PageDown: () => trend.moveTo(from + half, to + half),
      '+': () => trend.zoom(0.5, here),
      '=': () => trend.zoom(0.5, here),
      '-': () => trend.zoom(2, here),
      Escape: () => trend.point(null),
    };
    const act = keys[e.key];
    if (!act) return;
    e.preventDefault();
    act();
  });
})();
