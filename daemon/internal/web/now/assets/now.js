// Keeps the page live, and says so when it is not.
'use strict';
(() => {
  const patience = 4000; // ms without a word from the monitor
  const notice = document.getElementById('old');
  let heard = Date.now();
  let heardAt = new Date();
  let stream = null;
  let title = document.title;

  // Only what changed is replaced, so that a screen reader is not told the same again.
  const show = (html) => {
    const doc = new DOMParser().parseFromString(html, 'text/html');
    for (const part of doc.querySelectorAll('[data-part]')) {
      const here = document.getElementById(part.id);
      if (!here) continue;
      if (here.innerHTML !== part.innerHTML) here.innerHTML = part.innerHTML;
      if (here.className !== part.className) here.className = part.className;
      if (part.dataset.title) document.title = title = part.dataset.title + ' – ' + document.querySelector('.site').textContent;
    }
  };

  const fresh = () => {
    heard = Date.now();
    heardAt = new Date();
    if (document.body.classList.contains('is-old')) {
      document.body.classList.remove('is-old');
      notice.hidden = true;
      notice.textContent = '';
      document.title = title;
    }
  };

  const old = () => {
    if (document.body.classList.contains('is-old')) return;
    document.body.classList.add('is-old');
    document.title = 'No contact – ' + document.querySelector('.site').textContent;
    notice.textContent = 'No contact with the monitor since ' + heardAt.toLocaleTimeString() +
      '. What stands below is old: do not rely on it, and watch the furnace yourself.';
    notice.hidden = false;
  };

  const open = () => {
    if (stream && stream.readyState !== EventSource.CLOSED) return;
    stream = new EventSource('/events');
    stream.addEventListener('parts', (e) => { fresh(); show(e.data); });
    stream.addEventListener('beat', (e) => {
      fresh();
      if (e.data) document.getElementById('asof').textContent = 'as of ' + e.data;
    });
  };

  // A clock that is set meanwhile may jump either way; both count as silence.
  setInterval(() => {
    const silent = Date.now() - heard;
    if (silent > patience || silent < 0) old();
    if (!document.hidden) open();
  }, 1000);

  // A hidden page gives its connection back: a browser has six for each server. What it
  // shows when it comes back is old until the first word.
  document.addEventListener('visibilitychange', () => {
    if (document.hidden) {
      if (stream) stream.close();
      old();
    } else {
      open();
    }
  });
  window.addEventListener('pageshow', (e) => { if (e.persisted) { old(); open(); } });
  open();
})();
