// The one socket to the program: the greeting, signs of life, the program's clock, and coming back by itself.

import { derive, fits, isSound, respond } from './scram.js';

const QUIET_MS = 800; // without a word for so long, what is shown counts as old
const AGAIN_MS = 400; // between two requests that ask whether the program can be reached
const REQUEST_MS = 1500; // after that a request is given up; a few are on their way at once, so none holds up the next
const WELCOME_MS = 4000; // a socket that has not been welcomed by then is given up
const HERE_MS = 250;
const ASKED = 4001; // the closing code of one that has to say the passcode again
const ANSWER_MS = 1500; // after that the program refuses a press as too old, so no answer will come

const KEPT = 'passcode-key'; // where this tab keeps what it made of the passcode
const STRANGER = 'What answers here does not know the passcode. Look at the computer, then load this page again.';

const clock = () => performance.now();

// A browser may have no place for anything that lasts.
function stored(name) {
  try {
    return localStorage.getItem(name);
  } catch {
    return null;
  }
}

function store(name, value) {
  try {
    localStorage.setItem(name, value);
  } catch {
    // Then it holds for as long as this page does.
  }
}

/** The key that this tab made of a passcode. */
function keptKey() {
  try {
    return JSON.parse(sessionStorage.getItem(KEPT));
  } catch {
    return null;
  }
}

/**
 * @param {object} told what the link tells: frame(frame), state('live' | 'old'), refused(words, waitMs)
 */
export function openLink(told) {
  let socket = null; // the one that was welcomed
  let pending = null; // the one that is being opened
  let lastHeard = 0;
  let lastLive = null;
  let ahead = null; // of the program's clock before ours; the largest seen is the one that travelled shortest
  let aheadSince = 0;
  let ask = 0;
  let barredUntil = 0;
  let waitsForPasscode = false;
  let lastAsked = -Infinity;
  const open = new Map();
  let key = keptKey();
  let goodKey = null; // the one that let this page in last
  let challenge = null; // the last one
  // By its token the program knows this device again, so that wrong passcodes of others never hold it up.
  let device = stored('device');

  const setClock = (now) => {
    const seen = now - clock();
    // Clocks drift: after half a minute an old estimate makes room for a new one.
    if (ahead === null || seen > ahead || clock() - aheadSince > 30000) {
      ahead = seen;
      aheadSince = clock();
    }
  };
  const programNow = () => Math.max(0, Math.round(clock() + (ahead ?? 0)));
  const mayCome = () => !waitsForPasscode && clock() >= barredUntil && document.visibilityState !== 'hidden';
  const live = () => socket !== null && socket.readyState === WebSocket.OPEN && clock() - lastHeard < QUIET_MS;

  // Browsers make a page wait longer and longer for its next socket after some that failed, so none is opened before a
  // small request was answered.
  async function request() {
    lastAsked = clock();
    const givenUp = new AbortController();
    const timer = setTimeout(() => givenUp.abort(), REQUEST_MS);
    try {
      const { ok } = await fetch('/here', { cache: 'no-store', signal: givenUp.signal });
      if (ok && socket === null && pending === null && mayCome()) connect();
    } catch {
      // not reached: the next request comes soon
    } finally {
      clearTimeout(timer);
    }
  }

  function connect() {
    const url = new URL('/live', location.href);
    url.protocol = url.protocol === 'https:' ? 'wss:' : 'ws:';
    const tried = new WebSocket(url);
    pending = tried;
    const giveUp = setTimeout(() => drop(tried), WELCOME_MS);
    let proven = null; // what was answered to its challenge, and what it has to answer then
    tried.onmessage = (event) => {
      let frame;
      try {
        frame = JSON.parse(event.data);
      } catch {
        return;
      }
      if (frame.kind === 'challenge' && pending === tried) {
        if (!isSound(frame)) return takeForStranger(tried, giveUp);
        challenge = frame;
        if (key && !fits(key, challenge)) remember(null);
        proven = key && respond(key, challenge);
        tried.send(JSON.stringify({ hello: 2, response: proven?.response ?? null, device }));
      } else if (frame.kind === 'welcome' && socket === null) {
        if (proven && frame.signature !== proven.signature) return takeForStranger(tried, giveUp);
        clearTimeout(giveUp);
        pending = null;
        socket = tried;
        ahead = null;
        waitsForPasscode = false;
        goodKey = key;
        if (frame.device) {
          device = frame.device;
          store('device', device);
        }
      } else if (frame.kind === 'refused') {
        clearTimeout(giveUp);
        barredUntil = clock() + (frame.wait_ms || 0);
        // Without the right passcode, trying once more by itself would only be slowed down. One that was right before is
        // tried again when the time has come.
        waitsForPasscode = frame.passcode && (key === null || key !== goodKey);
        if (waitsForPasscode) sessionStorage.removeItem(KEPT);
        drop(tried);
        told.refused(frame.words, frame.wait_ms || 0, waitsForPasscode);
        return;
      }
      if (socket !== tried) return;
      lastHeard = clock();
      if (typeof frame.now === 'number') setClock(frame.now);
      if (frame.kind === 'answer') settle(frame.ask, frame.done, frame.words);
      else if (frame.kind !== 'alive') told.frame(frame);
      look();
    };
    tried.onclose = tried.onerror = (event) => {
      clearTimeout(giveUp);
      if (event.code === ASKED) remember(null);
      drop(tried);
    };
  }

  function remember(made) {
    key = made;
    if (key) sessionStorage.setItem(KEPT, JSON.stringify(key));
    else sessionStorage.removeItem(KEPT);
  }

  // What does not know the passcode is not the program; nothing more is said to it.
  function takeForStranger(tried, giveUp) {
    clearTimeout(giveUp);
    remember(null);
    barredUntil = Infinity;
    drop(tried);
    told.refused(STRANGER, 0, false);
  }

  function drop(which) {
    which.onopen = which.onmessage = which.onclose = which.onerror = null;
    if (pending === which) pending = null;
    which.close();
    if (socket === which) {
      socket = null;
      look();
    }
  }

  function settle(number, done, words) {
    const waiting = open.get(number);
    if (!waiting) return;
    clearTimeout(waiting.timer);
    open.delete(number);
    waiting.resolve({ done, words });
  }

  // Says whether what is shown is of now; a quiet socket is left, so that nothing sent there can arrive late.
  function look() {
    const now = live();
    if (!now && socket !== null) {
      drop(socket);
      return;
    }
    if (now !== lastLive) {
      lastLive = now;
      if (!now) for (const number of [...open.keys()]) settle(number, false, 'Cut off before an answer came.');
      told.state(now ? 'live' : 'old');
    }
    if (!now && pending === null && clock() - lastAsked >= AGAIN_MS && mayCome()) request();
  }

  const send = (message) => {
    if (!live()) return false;
    socket.send(JSON.stringify(message));
    return true;
  };

  setInterval(look, 50);
  setInterval(() => send({ here: programNow() }), HERE_MS);
  document.addEventListener('visibilitychange', look);
  look();

  return {
    live,
    now: programNow,
    /** How long it has been quiet, in milliseconds. */
    quietFor: () => clock() - lastHeard,
    heardOnce: () => lastHeard > 0,
    /** Sends at once or not at all: nothing waits for a better network. */
    send,
    /** An action in the words of `handspan do`; resolves with `{done, words}`. */
    do(words, seen) {
      const number = (ask += 1);
      if (!send({ do: words, ask: number, at: programNow(), seen })) {
        return Promise.resolve({ done: false, words: 'Nothing was sent: press again when it is back.' });
      }
      return new Promise((resolve) => {
        const timer = setTimeout(() => settle(number, false, 'No answer came; look before you press again.'), ANSWER_MS);
        open.set(number, { resolve, timer });
      });
    },
    /** Tries a passcode; this takes a while. What it makes is remembered in this tab. */
    enter(words) {
      remember(words ? derive(words, challenge) : null);
      waitsForPasscode = false;
      look();
    },
    barredFor: () => Math.max(0, barredUntil - clock()),
  };
}
