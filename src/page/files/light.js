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
  stayAwake();
  document.addEventListener('visibilitychange', stayAwake);
}

// The lock is lost whenever the page is hidden, and only some browsers give it at all.
async function stayAwake() {
  if (document.visibilityState !== 'visible') return;
  try {
    await navigator.wakeLock?.request('screen');
  } catch {
    // refused, for example at low battery: the screen then dims as usual
  }
}
