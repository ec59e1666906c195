// Keeps the page live, says so when it is not, and takes alarms without leaving the page.
'use strict';
(() => {
  const patience = 4000; // ms without a word from the monitor
  const notice = document.getElementById('contact');
  const said = document.getElementById('said');
  const site = document.querySelector('.site').textContent;
  let heard = Date.now();
  let asOf = ''; // the monitor's own time of what is shown
  let stream = null;
  let title = document.title;

  // become makes an element like another and keeps it, so that what is tapped, focused or
  // unfolded meanwhile stays so, and a screen reader is not told the same again.
  const become = (here, there) => {
    if (here.nodeType !== Node.ELEMENT_NODE) {
      if (here.data !== there.data) here.data = there.data;
      return;
    }
    for (const { name } of [...here.attributes]) {
      if (!there.hasAttribute(name) && !(name === 'open' && here.nodeName === 'DETAILS')) here.removeAttribute(name);
    }
    for (const { name, value } of there.attributes) {
      if (here.getAttribute(name) !== value) here.setAttribute(name, value);
    }
    let at = here.firstChild;
    for (const child of [...there.childNodes]) {
      const mine = child.id && [...here.children].find((e) => e.id === child.id);
      if (mine && mine !== at) here.insertBefore(mine, at);
      if (mine) at = mine;
      if (at && at.nodeName === child.nodeName && (at.id || '') === (child.id || '')) {
        const next = at.nextSibling;
        become(at, child);
        at = next;
      } else {
        here.insertBefore(child, at);
      }
    }
    while (at) {
      const next = at.nextSibling;
      at.remove();
      at = next;
    }
  };

  const show = (html) => {
    const doc = new DOMParser().parseFromString(html, 'text/html');
    for (const part of doc.querySelectorAll('[data-part]')) {
      const here = document.getElementById(part.id);
      if (!here) continue;
      become(here, part);
      if (part.dataset.title) document.title = title = part.dataset.title + ' – ' + site;
    }
  };

  const fresh = () => {
    heard = Date.now();
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
    document.title = 'No contact – ' + site;
    notice.textContent = 'No contact with the monitor. What stands below is old' + (asOf ? ', of ' + asOf : '') +
      ': do not rely on it, and watch the furnace yourself.';
    notice.hidden = false;
  };

  const open = () => {
    if (stream && stream.readyState !== EventSource.CLOSED) return;
    stream = new EventSource('/events');
    stream.addEventListener('parts', (e) => { fresh(); show(e.data); });
    stream.addEventListener('beat', (e) => {
      fresh();
      asOf = e.data;
      if (asOf) document.getElementById('asof').textContent = 'as of ' + asOf;
    });
  };

  // A clock that is set meanwhile may jump either way; both count as silence.
  setInterval(() => {
    const silent = Date.now() - heard;
    if (silent > patience || silent < 0) old();
    if (!document.hidden) open();
  }, 500);

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

  // The same form as without scripts. Whatever is answered but the page itself is shown as
  // the server has it.
  document.addEventListener('submit', async (e) => {
    const form = e.target;
    if (!form.classList.contains('take')) return;
    e.preventDefault();
    const button = form.querySelector('button');
    button.textContent = 'Sending…';
    said.textContent = '';
    try {
      const answer = await fetch(form.action, { method: 'POST', body: new URLSearchParams(new FormData(form)) });
      const page = await answer.text();
      if (answer.ok && new URL(answer.url).pathname === '/') {
        show(page);
        said.textContent = 'Acknowledged.';
        (document.getElementById('standing') ?? document.getElementById('verdict')).focus();
        return;
      }
    } catch {
      button.textContent = 'Not sent: try again';
      return;
    }
    form.submit();
  });
  open();
})();
