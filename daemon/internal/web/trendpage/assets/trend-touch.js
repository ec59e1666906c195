// Mouse and fingers. A mouse points, and drags over the stretch to come close to; one finger
// moves the time, two pinch it, a tap points; a double tap or click goes out again. Up and
// down stays the page's own.
'use strict';
(() => {
  if (!trend) return;
  const slip = 6; // px that a tap may move
  const twice = 350; // ms between the taps of a double tap
  const { surface, stage } = trend;
  const marked = document.createElement('div');
  marked.className = 'marked';
  const down = new Map(); // pointers: where each is and began
  let view = null; // the window when the fingers came down or changed
  let moved = false;
  let tapped = { when: -twice, x: 0 };

  const where = (e) => e.clientX - stage.getBoundingClientRect().left;
  const inside = (x) => Math.min(Math.max(x, trend.left()), trend.right());

  const start = () => {
    view = { ...trend.view };
    for (const p of down.values()) p.began = p.x;
  };

  surface.addEventListener('pointerdown', (e) => {
    if (!trend.cross || e.button) return;
    surface.setPointerCapture(e.pointerId);
    down.set(e.pointerId, { x: where(e), began: where(e), mouse: e.pointerType === 'mouse' });
    if (down.size === 1) moved = false;
    trend.busy = true;
    start();
  });

  surface.addEventListener('pointermove', (e) => {
    if (!trend.cross) return;
    const p = down.get(e.pointerId);
    if (!p) {
      if (e.pointerType === 'mouse') trend.point(trend.timeAt(inside(where(e))));
      return;
    }
    p.x = where(e);
    if (Math.abs(p.x - p.began) > slip) moved = true;
    if (!moved) return;
    if (p.mouse) select(p);
    else if (down.size === 2) pinch(...down.values());
    else if (down.size === 1) pan(p);
  });

  const select = (p) => {
    const [a, b] = [inside(p.began), inside(p.x)].sort((x, y) => x - y);
    const s = trend.scale();
    Object.assign(marked.style, {
      left: a + 'px', width: b - a + 'px', top: trend.cross.top * s + 'px', height: (trend.cross.bottom - trend.cross.top) * s + 'px',
    });
    if (!marked.isConnected) stage.append(marked);
    trend.point(trend.timeAt(inside(p.x)));
  };

  const perPixel = (window) => (window.to - window.from) / (trend.right() - trend.left());

  const pan = (p) => {
    const shift = (p.began - p.x) * perPixel(view);
    trend.moveTo(view.from + shift, view.to + shift);
    trend.redraw();
  };

  // The moments that the fingers came down on stay under them.
  const pinch = (a, b) => {
    const apart = b.x - a.x;
    const before = b.began - a.began;
    if (Math.abs(apart) < 20 || Math.abs(before) < 20 || apart * before < 0) return;
    const under = (x) => view.from + (x - trend.left()) * perPixel(view);
    const each = (under(b.began) - under(a.began)) / apart; // ms a px
    const from = under(a.began) - (a.x - trend.left()) * each;
    trend.moveTo(from, from + each * (trend.right() - trend.left()));
    trend.redraw();
  };

  const up = (e) => {
    const p = down.get(e.pointerId);
    if (!p) return;
    down.delete(e.pointerId);
    trend.busy = down.size > 0;
    marked.remove();
    if (trend.busy) {
      start();
      return;
    }
    if (e.type === 'pointercancel') return;
    if (!moved) {
      tap(p.x, e.timeStamp);
    } else if (p.mouse && Math.abs(inside(p.x) - inside(p.began)) > slip) {
      const ends = [trend.timeAt(inside(p.began)), trend.timeAt(inside(p.x))].sort((x, y) => x - y);
      trend.moveTo(...ends);
    }
  };
  surface.addEventListener('pointerup', up);
  surface.addEventListener('pointercancel', up);

  // when it was tapped: a page that has much to do hears of it late.
  const tap = (x, when) => {
    const ms = trend.timeAt(inside(x));
    if (when - tapped.when < twice && Math.abs(x - tapped.x) < 30) {
      tapped.when = -twice;
      trend.zoom(2, ms);
      return;
    }
    tapped = { when, x };
    trend.point(ms);
  };

  // A pinch on a touch pad comes as a wheel with the control key.
  surface.addEventListener('wheel', (e) => {
    if (!trend.cross || !e.ctrlKey) return;
    e.preventDefault();
    trend.zoom(Math.exp(Math.min(Math.max(e.deltaY, -50), 50) / 100), trend.timeAt(inside(where(e))));
  }, { passive: false });
})();
