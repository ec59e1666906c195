// Keeps the readings of a commissioning fresh, loads the page again when it has gone on, and
// keeps what was typed when the telephone drops.
'use strict';
(() => {
  const patience = 4000; // ms without a word from the monitor
  const store = 'commissioning:';
  const notice = document.getElementById('contact');
  const verdict = document.getElementById('live-verdict');
  let heard = Date.now();
  let typed = false;
  let leaving = false;
  let asOf = '';

  const old = () => {
    if (document.body.classList.contains('is-old')) return;
    document.body.classList.add('is-old');
    notice.textContent = 'No contact with the monitor. What stands below is old' + (asOf ? ', of ' + asOf : '') +
      ': do not rely on it, and watch the furnace yourself.';
    notice.hidden = false;
  };
  const fresh = () => {
    heard = Date.now();
    document.body.classList.remove('is-old');
    notice.hidden = true;
  };

  const moved = () => {
    if (!typed) {
      leaving = true;
      location.replace('/commissioning');
      return;
    }
    if (document.querySelector('.moved')) return;
    const p = document.createElement('p');
    p.className = 'moved';
    p.setAttribute('role', 'alert');
    p.innerHTML = 'It has gone on meanwhile. <a href="/commissioning">Load again</a>';
    document.getElementById('main').append(p);
  };

  const put = (here, there) => {
    if (here && there && here.innerHTML !== there.innerHTML) here.innerHTML = there.innerHTML;
  };

  const look = async () => {
    if (document.hidden || leaving) return;
    try {
      const answer = await fetch('/commissioning/now', { cache: 'no-store', signal: AbortSignal.timeout(patience) });
      if (!answer.ok || answer.redirected) return;
      const part = new DOMParser().parseFromString(await answer.text(), 'text/html');
      const now = part.getElementById('live-verdict');
      if (!now) return;
      fresh();
      asOf = now.dataset.asOf;
      if (asOf) document.getElementById('asof').textContent = 'as of ' + asOf;
      for (const id of ['live-verdict', 'live-numbers', 'live-pictures']) put(document.getElementById(id), part.getElementById(id));
      if (now.dataset.mark !== verdict.dataset.mark) moved();
    } catch {
      // Silence is what the page must hear.
    }
  };

  let busy = false;
  setInterval(async () => {
    const silent = Date.now() - heard;
    if (silent > patience || silent < 0) old();
    if (busy) return;
    busy = true;
    await look();
    busy = false;
  }, 1000);
  document.addEventListener('visibilitychange', () => { if (document.hidden) old(); });
  window.addEventListener('pageshow', (e) => { if (e.persisted) location.reload(); });

  // What was typed stays on this telephone until it was taken.
  const form = document.querySelector('form.kept');
  const key = form && store + form.dataset.task;
  try {
    for (const k of Object.keys(localStorage)) {
      if (k.startsWith(store) && k !== key) localStorage.removeItem(k);
    }
    const kept = form && !('refused' in form.dataset) && localStorage.getItem(key);
    if (kept) {
      for (const [name, value] of new URLSearchParams(kept)) {
        const field = form.elements.namedItem(name);
        if (field && field.type !== 'hidden') field.value = value;
      }
      typed = true;
    }
  } catch {
    // A browser that keeps nothing.
  }
  document.addEventListener('input', (e) => {
    typed = true;
    if (!form || e.target.form !== form) return;
    try {
      localStorage.setItem(key, new URLSearchParams(new FormData(form)).toString());
    } catch {
      // Likewise.
    }
  });

  // A glove taps twice.
  document.addEventListener('submit', (e) => {
    if (leaving) {
      e.preventDefault();
      return;
    }
    leaving = true;
    const button = e.target.querySelector('button');
    setTimeout(() => { button.disabled = true; }, 0);
    setTimeout(() => { button.disabled = leaving = false; }, 10000);
  });
  const refused = document.getElementById('refused');
  if (refused) refused.scrollIntoView({ block: 'center' });
})();
