// Thumbs and keyboard shortcuts: what is pressed becomes an action, at once or not at all.

const $ = (id) => document.getElementById(id);
const HOLD_MS = 500;
const TWICE_MS = 3000;
const ONE_TOUCH_MS = 250; // two touches within it are one that bounced
const OFF_BY_HOLDING = 'all notes off · hold';

/** Panic: by holding for half a second, or by two presses where nothing can be held. A stray touch does nothing. */
function wirePanic(press, tell) {
  const button = $('panic');
  let timer = null;
  let first = -Infinity;
  const rest = () => {
    clearTimeout(timer);
    timer = null;
    button.classList.remove('filling');
  };
  const twice = () => {
    const now = performance.now();
    if (now - first <= TWICE_MS) {
      first = -Infinity;
      $('panic-how').textContent = OFF_BY_HOLDING;
      press(['panic']);
      return;
    }
    first = now;
    $('panic-how').textContent = 'once more';
    tell('Press again: all notes off.');
    setTimeout(() => performance.now() - first >= TWICE_MS && ($('panic-how').textContent = OFF_BY_HOLDING), TWICE_MS + 20);
  };
  button.addEventListener('pointerdown', (event) => {
    if (event.button !== 0) return;
    button.classList.add('filling');
    clearTimeout(timer);
    timer = setTimeout(() => {
      rest();
      press(['panic']);
    }, HOLD_MS);
  });
  for (const end of ['pointerup', 'pointercancel', 'pointerleave', 'lostpointercapture']) {
    button.addEventListener(end, () => {
      if (timer && end === 'pointerup') tell('Hold for half a second: all notes off.');
      rest();
    });
  }
  button.addEventListener('contextmenu', (event) => event.preventDefault());
  // A click without a pointer comes from Enter, Space or a screen reader.
  button.addEventListener('click', (event) => (event.detail === 0 || event.pointerType === '') && twice());
  return twice;
}

/**
 * Wires everything that controls the set. `press(words)` asks for an action, `tell(words)` shows the player a sentence.
 */
export function wirePresses({ press, tell, canControl, handOpen, openHand }) {
  const actions = {
    'next-song': ['next-song'], 'previous-song': ['previous-song'], 'next-section-go': ['next-section'], 'previous-section': ['previous-section'],
    'raise-key': ['raise-key'], 'lower-key': ['lower-key'], 'tonights-key': ['tonights-key'], fade: ['fade'], again: ['resend-messages'], beat: ['tap'],
  };
  for (const [id, words] of Object.entries(actions)) {
    const ofSongs = id.endsWith('-song');
    let last = -Infinity;
    $(id).addEventListener('click', ({ timeStamp }) => {
      const bounced = ofSongs && timeStamp - last < ONE_TOUCH_MS;
      last = timeStamp;
      if (!bounced && canControl()) press(words);
    });
  }
  const panicTwice = wirePanic(press, tell);

  const keys = {
    ArrowRight: ['next-section'], ArrowLeft: ['previous-section'], ArrowDown: ['next-song'], ArrowUp: ['previous-song'],
    '+': ['raise-key'], '-': ['lower-key'], 0: ['tonights-key'], d: ['drone'], f: ['fade'], b: ['tap'],
  };
  document.addEventListener('keydown', (event) => {
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
    if (document.querySelector('dialog[open]') || event.target.closest?.('input, select, textarea')) return;
    const letter = event.key.length === 1;
    if (letter && $('letters').getAttribute('aria-checked') !== 'true') return;
    if (letter && handOpen()) return; // the letters play
    if (event.key === 'p') openHand();
    else if (event.key === '!' && canControl()) panicTwice();
    else if (keys[event.key] && canControl()) press(keys[event.key]);
    else return;
    event.preventDefault();
  });
}
