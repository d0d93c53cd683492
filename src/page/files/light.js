// Dark stage or daylight: as the tablet wishes, or as was chosen here last. And the screen kept awake.

const $ = (id) => document.getElementById(id);
const CHOICES = { 'light-own': '', 'light-dark': 'dark', 'light-day': 'day' };

// Storage may be forbidden; then the choice lasts as long as the page.
const remembered = (name) => {
  try {
    return localStorage.getItem(name);
  } catch {
    return null;
  }
};
const remember = (name, value) => {
  try {
    localStorage.setItem(name, value);
  } catch {
    // nothing to do
  }
};

export function wireLight() {
  const show = (light) => {
    document.documentElement.dataset.light = light;
    for (const [id, value] of Object.entries(CHOICES)) $(id).setAttribute('aria-pressed', value === light);
  };
  show(remembered('light') ?? '');
  for (const [id, value] of Object.entries(CHOICES)) {
    $(id).addEventListener('click', () => {
      remember('light', value);
      show(value);
    });
  }
  const letters = (on) => {
    $('letters').setAttribute('aria-checked', on);
    $('letters-how').textContent = on ? 'on' : 'off';
  };
  letters(remembered('letters') !== 'no');
  $('letters').addEventListener('click', () => {
    const on = $('letters').getAttribute('aria-checked') !== 'true';
    remember('letters', on ? 'yes' : 'no');
    letters(on);
  });
  wireFullScreen();
  stayAwake();
  document.addEventListener('visibilitychange', stayAwake);
}

function wireFullScreen() {
  const button = $('full-screen');
  button.hidden = !document.fullscreenEnabled;
  button.addEventListener('click', () => (document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen()).catch(() => {}));
  document.addEventListener('fullscreenchange', () => {
    const on = document.fullscreenElement !== null;
    button.setAttribute('aria-checked', on);
    $('full-screen-how').textContent = on ? 'on' : 'off';
  });
}

const BY_HAND = 'Turn off its automatic lock in the settings of the tablet.';
const AWAKE = 'The screen stays on while this page is seen.';
const NOT_SECURE = `The screen may turn itself off: browsers keep it on only for pages at an encrypted address or of the same machine. ${BY_HAND}`;
const NOT_ALLOWED = `The screen may turn itself off: this browser does not keep it on. ${BY_HAND}`;

// The lock is lost whenever the page is hidden, and only some browsers give it at all.
async function stayAwake() {
  if (document.visibilityState !== 'visible') return;
  try {
    const lock = await navigator.wakeLock.request('screen');
    $('awake').textContent = AWAKE;
    lock.addEventListener('release', () => document.visibilityState === 'visible' && ($('awake').textContent = NOT_ALLOWED));
  } catch {
    // none here, or refused, for example at low battery
    $('awake').textContent = isSecureContext ? NOT_ALLOWED : NOT_SECURE;
  }
}
