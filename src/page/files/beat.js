// A quiet mark that beats with the tempo, or with the tracks player's own beat while that runs.

const mark = document.getElementById('pulse');
const calm = matchMedia('(prefers-reduced-motion: reduce)');
let going = null;
let period = 0;
let last = '';

const once = [{ opacity: 1, transform: 'scale(1)' }, { opacity: 0.25, transform: 'scale(.55)' }];

export function beat(state) {
  const tracks = state.tracks?.running ? state.tracks : null;
  const tempo = tracks ? null : state.tempo;
  const wanted = calm.matches || !tempo ? 0 : 60000 / tempo;
  if (wanted !== period) {
    going?.cancel();
    going = wanted ? mark.animate(once, { duration: wanted, iterations: Infinity, easing: 'ease-out' }) : null;
    period = wanted;
  }
  const place = tracks ? `${tracks.bar}.${tracks.beat}` : '';
  if (tracks && place !== last && !calm.matches) mark.animate(once, { duration: 400, easing: 'ease-out' });
  last = place;
}
calm.addEventListener('change', () => {
  going?.cancel();
  period = 0;
});
