// A small synthesizer: it sounds what the outputs get. Two kinds of voice, a level that starts low, and a ceiling.

const MOST = 40; // voices at once; the oldest makes room
const CEILING = 0.8; // of full scale: nothing passes it
const EASE = 0.03; // seconds in which a level follows, so that none jumps

/** Programs from 0 that are struck or plucked and die away: pianos, bells, guitars, basses, harp. All others last. */
const isStruck = (program) => program < 16 || (program >= 24 && program < 40) || (program >= 45 && program <= 47);

/** The whole of it in a context, which may be an offline one. */
export function build(context, decibels) {
  const clipper = context.createWaveShaper();
  // Straight up to two thirds of the ceiling, bent towards it above; beyond the table's ends it stays at the ceiling.
  clipper.curve = Float32Array.from({ length: 4097 }, (_, index) => {
    const x = (index - 2048) / 2048;
    const knee = (CEILING * 2) / 3;
    const over = Math.abs(x) - knee;
    return over <= 0 ? x : Math.sign(x) * (knee + (CEILING - knee) * Math.tanh(over / (CEILING - knee)));
  });
  const master = context.createGain();
  master.gain.value = 10 ** (decibels / 20);
  const limiter = context.createDynamicsCompressor();
  Object.entries({ threshold: -14, knee: 6, ratio: 20, attack: 0.002, release: 0.15 }).forEach(([name, value]) => (limiter[name].value = value));
  limiter.connect(master).connect(clipper).connect(context.destination);

  const struckWave = context.createPeriodicWave(new Float32Array(8), Float32Array.from([0, 1, 0.42, 0.22, 0.16, 0.07, 0.05, 0.03]));
  const places = new Map();
  let voices = [];

  function place(output, channel) {
    const name = output * 16 + channel;
    if (!places.has(name)) {
      const gain = context.createGain();
      gain.gain.value = 0.7;
      gain.connect(limiter);
      places.set(name, { gain, volume: 100, expression: 127, pedal: false, program: 0 });
    }
    return places.get(name);
  }

  const setLevel = (at) => at.gain.gain.setTargetAtTime(0.9 * (at.volume / 127) ** 2 * (at.expression / 127) ** 2, context.currentTime, EASE);

  function strike(at, note, velocity) {
    if (voices.length >= MOST) end(voices[0], 0.03);
    const now = context.currentTime;
    const struck = isStruck(at.program);
    const frequency = 440 * 2 ** ((note - 69) / 12);
    const loud = (velocity / 127) ** 1.6 * (struck ? 0.5 : 0.2);
    const level = context.createGain();
    const tone = context.createBiquadFilter();
    const sources = (struck ? [0] : [-6, 5]).map((cents) => {
      const source = context.createOscillator();
      if (struck) source.setPeriodicWave(struckWave);
      else source.type = 'sawtooth';
      source.frequency.value = frequency;
      source.detune.value = cents;
      source.connect(tone);
      source.start(now);
      return source;
    });
    tone.type = 'lowpass';
    tone.Q.value = 0.4;
    tone.connect(level).connect(at.gain);
    level.gain.setValueAtTime(0, now);
    if (struck) {
      const bright = Math.min(14000, frequency * (2 + 7 * (velocity / 127)) + 500);
      tone.frequency.setValueAtTime(bright, now);
      tone.frequency.setTargetAtTime(frequency * 1.6 + 200, now + 0.01, 0.5);
      level.gain.linearRampToValueAtTime(loud, now + 0.004);
      // Low strings ring longer.
      level.gain.setTargetAtTime(0, now + 0.004, Math.max(0.15, 1.6 * 2 ** ((60 - note) / 20)));
    } else {
      tone.frequency.value = Math.min(6000, 500 + frequency * 1.8);
      level.gain.linearRampToValueAtTime(loud, now + 0.22);
    }
    voices.push({ at, note, level, sources, held: true, fall: struck ? 0.12 : 0.4 });
  }

  function end(voice, fall = voice.fall) {
    voices = voices.filter((other) => other !== voice);
    const now = context.currentTime;
    const param = voice.level.gain;
    if (param.cancelAndHoldAtTime) param.cancelAndHoldAtTime(now);
    else param.cancelScheduledValues(now);
    param.setTargetAtTime(0, now, fall / 3);
    for (const source of voice.sources) source.stop(now + fall * 2.5);
    voice.sources[0].onended = () => voice.level.disconnect();
  }

  const release = (at, note) => {
    for (const voice of voices.filter((one) => one.at === at && one.held && (note === null || one.note === note))) {
      voice.held = false;
      if (!at.pedal) end(voice);
    }
  };

  function control(at, number, value) {
    if (number === 7) at.volume = value;
    if (number === 11) at.expression = value;
    if (number === 121) Object.assign(at, { expression: 127 });
    if (number === 7 || number === 11 || number === 121) setLevel(at);
    if (number === 64 || number === 121) {
      at.pedal = number === 64 && value >= 64;
      if (!at.pedal) voices.filter((voice) => voice.at === at && !voice.held).forEach((voice) => end(voice));
    }
    if (number === 120) voices.filter((voice) => voice.at === at).forEach((voice) => end(voice, 0.03));
    if (number >= 123) release(at, null);
  }

  return {
    play(messages) {
      for (const [output, [status, first, second]] of messages) {
        if (status < 0x80 || status >= 0xf0) continue;
        const at = place(output, status & 15);
        const kind = status & 0xf0;
        if (kind === 0x90 && second > 0) {
          release(at, first);
          strike(at, first, second);
        } else if (kind === 0x80 || kind === 0x90) release(at, first);
        else if (kind === 0xb0) control(at, first, second);
        else if (kind === 0xc0) at.program = first;
      }
    },
    silence() {
      for (const at of places.values()) at.pedal = false;
      voices.forEach((voice) => end(voice, 0.03));
    },
    level: (value) => master.gain.setTargetAtTime(value <= -60 ? 0 : 10 ** (value / 20), context.currentTime, EASE),
    voices: () => voices.length,
  };
}

/** The sound of this page: off until a press starts it. */
export function openSound() {
  let context = null;
  let synth = null;
  let on = false;
  let waiting = null; // what comes while the sound begins
  return {
    isOn: () => on,
    async start(decibels) {
      waiting ??= [];
      try {
        context ??= new AudioContext({ latencyHint: 'interactive' });
        await context.resume();
        synth ??= build(context, decibels);
        synth.level(decibels);
        synth.play(waiting);
        on = true;
      } catch {
        on = false;
      }
      waiting = null;
      return on;
    },
    stop() {
      on = false;
      synth?.silence();
      setTimeout(() => !on && context?.suspend(), 300);
    },
    play: (messages) => (on ? synth.play(messages) : waiting?.push(...messages)),
    silence: () => synth?.silence(),
    level: (decibels) => synth?.level(decibels),
  };
}
