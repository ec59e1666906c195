// The picture and the window that it shows. The monitor draws; this asks it for another
// window, and keeps the old picture, moved and scaled, until the new one is there.
'use strict';
const trend = (() => {
  const stage = document.getElementById('trend-stage');
  if (!stage || !window.fetch) return null;
  const rest = 150; // ms without a move before the monitor is asked
  const refresh = 30000; // ms after which a window that ends now is asked for again
  const shortest = 60000; // ms, the shortest window

  const t = {
    stage,
    surface: document.createElement('div'), // takes the pointers
    cross: null, // what the monitor says of the picture that is shown
    view: null, // the window that is wanted, ms
    busy: false, // a finger is on the picture
    shown: [], // called after each new picture
  };
  const holder = document.createElement('div');
  const failed = document.createElement('p');
  failed.className = 'failed';
  failed.setAttribute('role', 'alert');
  let asking = null;
  let timer = 0;

  // Where the time lies on the screen: the picture is as wide as the stage.
  t.scale = () => holder.clientWidth / t.cross.width;
  t.left = () => t.cross.left * t.scale();
  t.right = () => t.cross.right * t.scale();
  t.timeAt = (x) => t.view.from + (x - t.left()) / (t.right() - t.left()) * (t.view.to - t.view.from);
  t.xAt = (ms) => t.left() + (ms - t.view.from) / (t.view.to - t.view.from) * (t.right() - t.left());

  // Draws the old picture where it belongs in the window that is wanted.
  const adjust = () => {
    const svg = holder.firstElementChild;
    if (!svg) return;
    const same = t.view.from === t.cross.from_ms && t.view.to === t.cross.to_ms;
    const k = (t.cross.to_ms - t.cross.from_ms) / (t.view.to - t.view.from);
    const shift = t.xAt(t.cross.from_ms) - k * t.left();
    svg.style.transform = same ? '' : `translateX(${shift}px) scaleX(${k})`;
    stage.classList.toggle('waiting', !same);
  };

  const show = (answer) => {
    holder.innerHTML = answer.svg;
    t.cross = answer.cross;
    if (!timer && !t.busy) t.view = { from: t.cross.from_ms, to: t.cross.to_ms };
    const doc = new DOMParser().parseFromString(answer.parts, 'text/html');
    for (const part of doc.querySelectorAll('[data-part]')) {
      const here = document.getElementById(part.id);
      if (here && here.innerHTML !== part.innerHTML) {
        const held = here.contains(document.activeElement) ? document.activeElement.textContent : null;
        here.innerHTML = part.innerHTML;
        // Whoever went there by keyboard stays there.
        if (held) [...here.querySelectorAll('a')].find((a) => a.textContent === held)?.focus();
      }
    }
    if (!holder.isConnected) {
      stage.replaceChildren(holder, t.surface);
      stage.classList.add('stage-live');
      for (const one of document.querySelectorAll('.script-only')) one.hidden = false;
    }
    failed.remove();
    adjust();
    for (const f of t.shown) f();
  };

  // Asks for a window; keep says what becomes of the address: pushState, replaceState or none.
  t.load = async (query, keep) => {
    if (asking) asking.abort();
    const mine = asking = new AbortController();
    const width = Math.round(Math.min(Math.max(stage.clientWidth, 300), 2000));
    try {
      const answer = await fetch(`/trend/picture?${query ? query + '&' : ''}width=${width}`, { signal: mine.signal });
      if (answer.redirected || answer.status === 401) {
        location.reload(); // whoever was signed in is no more
        return;
      }
      if (!answer.ok) throw new Error(answer.headers.get('Content-Type') === 'application/problem+json' ? (await answer.json()).detail : answer.statusText);
      const body = await answer.json();
      if (mine !== asking) return;
      if (keep) history[keep](null, '', query ? '/trend?' + query : '/trend');
      show(body);
    } catch (e) {
      if (mine.signal.aborted) return;
      failed.textContent = 'The picture is not the one asked for: ' + (e instanceof TypeError ? 'the monitor does not answer.' : e.message);
      stage.after(failed);
    } finally {
      if (mine === asking) asking = null;
    }
  };

  // Wants another window, within what is kept.
  t.moveTo = (from, to) => {
    const { kept_from_ms: first, kept_to_ms: last } = t.cross;
    const span = Math.min(Math.max(to - from, shortest), Math.max(last - first, shortest));
    const middle = (from + to) / 2;
    from = Math.max(Math.min(middle - span / 2, last - span), first);
    t.view = { from, to: from + span };
    adjust();
    clearTimeout(timer);
    timer = setTimeout(() => {
      timer = 0;
      const iso = (ms) => encodeURIComponent(new Date(Math.round(ms)).toISOString());
      t.load(`from=${iso(t.view.from)}&to=${iso(t.view.to)}`, 'pushState');
    }, rest);
  };

  // Zooms by a factor, above 1 out, and keeps a moment where it is.
  t.zoom = (factor, around) => {
    const { from, to } = t.view;
    t.moveTo(around - (around - from) * factor, around + (to - around) * factor);
  };

  document.addEventListener('click', (e) => {
    const link = e.target.closest('a[data-window]');
    if (!link || !t.cross || e.ctrlKey || e.metaKey || e.shiftKey || e.button) return;
    e.preventDefault();
    t.load(new URL(link.href).search.slice(1), 'pushState');
    if (link.closest('#trend-happened')) stage.scrollIntoView({ block: 'nearest' });
  });
  window.addEventListener('popstate', () => t.load(location.search.slice(1)));
  let width = stage.clientWidth;
  new ResizeObserver(() => {
    if (!t.cross || Math.abs(stage.clientWidth - width) < 20) return;
    width = stage.clientWidth;
    t.load(t.cross.query);
  }).observe(stage);
  setInterval(() => {
    if (t.cross && t.cross.follows && !document.hidden && !t.busy && !timer && !asking) t.load(t.cross.query);
  }, refresh);
  t.load(location.search.slice(1));
  return t;
})();
