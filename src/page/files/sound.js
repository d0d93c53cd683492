// A small synthesizer: it sounds what the outputs get. A family of voices for each kind of program, all of them
// calculated; a level that starts low, and a ceiling.

const MOST = 40; // voices at once; the oldest makes room
const CEILING = 0.8; // of full scale: nothing passes it
const EASE = 0.03; // seconds in which a level follows, so that none jumps
const BEND = 200; // cents that the bend goes up and down at most

// `wave`: the levels of the harmonics. `partials`: tones of their own, as [ratio, level, part of the decay]. `octave`:
// where the wave begins. `cents`: one source for each. `attack` and `fall` in seconds; `decay`: in which C4 dies away to
// a third, none for what lasts. `tone`: from and to which frequency the lowpass goes, in harmonics and Hz, and how fast.
// `vibrato` in cents. `formants`: [Hz, level]. `level`: so that the families are about equally loud.
const SAW = Array.from({ length: 24 }, (_, index) => 1 / (index + 1));
const FAMILIES = {
  piano: { wave: [1, 0.6, 0.35, 0.4, 0.2, 0.14, 0.06, 0.1, 0.05], attack: 0.004, decay: 1.6, fall: 0.12, tone: [[9, 900], [3, 400], 0.6], level: 0.5 },
  celesta: { partials: [[1, 1, 1], [4, 0.35, 0.35], [10, 0.12, 0.1]], attack: 0.002, decay: 0.9, fall: 0.5, level: 0.45 },
  bells: { partials: [[0.5, 0.35, 1.4], [1, 0.8, 1], [1.19, 0.5, 0.9], [1.5, 0.4, 0.8], [2, 0.6, 0.7], [2.74, 0.4, 0.5], [3.76, 0.3, 0.35]], attack: 0.002, decay: 2.4, fall: 1.2, level: 0.24 },
  harp: { wave: [1, 0.15, 0.6, 0.08, 0.4, 0.04, 0.25, 0, 0.15], attack: 0.002, decay: 0.4, fall: 0.4, tone: [[10, 800], [2, 100], 0.2], level: 0.6 },
  bass: { wave: [1, 0.7, 0.35, 0.08, 0.04], attack: 0.02, decay: 0.9, fall: 0.1, tone: [[3, 150], [1.5, 80], 0.2], level: 0.6 },
  organ: { wave: [0.5, 1, 0.6, 0.7, 0, 0.4, 0, 0.45, 0, 0, 0, 0.2, 0, 0, 0, 0.25], octave: -1, attack: 0.012, fall: 0.06, level: 0.2 },
  strings: { wave: SAW, cents: [-8, 7], vibrato: 9, attack: 0.1, fall: 0.25, tone: [[3, 1400], [3.5, 1600], 0.3], level: 0.17 },
  voices: { wave: SAW, cents: [-5, 5], vibrato: 16, attack: 0.14, fall: 0.35, formants: [[650, 1], [1080, 0.6], [2650, 0.25]], level: 0.3 },
  winds: { wave: [1, 0.15, 0.5, 0.1, 0.28, 0.05, 0.12], vibrato: 6, attack: 0.05, fall: 0.12, tone: [[4, 700], [5, 900], 0.1], level: 0.22 },
  pad: { wave: SAW, cents: [-6, 5], attack: 0.22, fall: 0.4, tone: [[1, 300], [1.6, 400], 0.8], level: 0.2 },
};

/** The family of each program, from 0, up to the one that is named. */
const PROGRAMS = [
  [7, 'piano'], [8, 'celesta'], [9, 'bells'], [10, 'celesta'], [15, 'bells'], [23, 'organ'], [31, 'harp'], [39, 'bass'], [44, 'strings'], [46, 'harp'],
  [47, 'bass'], [51, 'strings'], [54, 'voices'], [55, 'strings'], [84, 'winds'], [85, 'voices'], [87, 'winds'], [90, 'pad'], [91, 'voices'], [103, 'pad'],
  [108, 'harp'], [111, 'winds'], [119, 'bells'], [127, 'pad'],
];
const familyOf = (program) => PROGRAMS.find(([last]) => program <= last)?.[1] ?? 'piano';

/** The end of the line: a level, and a ceiling that nothing passes. */
function buildOutput(context, decibels) {
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
  return { limiter, master };
}

/** Makes voices of all families; `sound(at, note, velocity)` is one that begins now. */
function buildVoices(context) {
  const waves = new Map();
  const wave = (family) => {
    if (!waves.has(family)) waves.set(family, context.createPeriodicWave(new Float32Array(family.wave.length + 1), Float32Array.from([0, ...family.wave])));
    return waves.get(family);
  };
  const trembling = new Map(); // one for each depth, for all voices together
  const vibrato = (cents) => {
    if (!trembling.has(cents)) {
      const depth = context.createGain();
      depth.gain.value = cents;
      const trembles = context.createOscillator();
      trembles.frequency.value = 5.3;
      trembles.connect(depth);
      trembles.start();
      trembling.set(cents, depth);
    }
    return trembling.get(cents);
  };

  function addSource(family, at, frequency, cents, to) {
    const source = context.createOscillator();
    if (family.wave) source.setPeriodicWave(wave(family));
    source.frequency.value = frequency * 2 ** (family.octave ?? 0);
    source.detune.value = cents;
    at.bend.connect(source.detune);
    if (family.vibrato) vibrato(family.vibrato).connect(source.detune);
    source.connect(to);
    source.start(context.currentTime);
    return source;
  }

  function addPartials(family, at, frequency, to, decay) {
    return family.partials.filter(([ratio]) => frequency * ratio < 16000).map(([ratio, loud, part]) => {
      const partial = context.createGain();
      partial.gain.setValueAtTime(loud, context.currentTime);
      partial.gain.setTargetAtTime(0, context.currentTime, decay * part);
      partial.connect(to);
      return addSource(family, at, frequency * ratio, 0, partial);
    });
  }

  /** From the sources to the level: a lowpass, formants, or nothing. */
  function addTone(family, frequency, velocity, level) {
    if (family.formants) {
      const input = context.createGain();
      for (const [hertz, loud] of family.formants) {
        const formant = context.createBiquadFilter();
        const gain = context.createGain();
        Object.assign(formant, { type: 'bandpass' });
        formant.frequency.value = hertz;
        formant.Q.value = 4;
        gain.gain.value = loud * 2;
        input.connect(formant).connect(gain).connect(level);
      }
      return input;
    }
    if (!family.tone) return level;
    const [[from, more], [to, least], time] = family.tone;
    const lowpass = context.createBiquadFilter();
    lowpass.type = 'lowpass';
    lowpass.Q.value = 0.4;
    // Struck harder, what dies away is brighter.
    const bright = family.decay ? 0.3 + velocity / 127 : 1;
    const limit = (hertz) => Math.min(14000, hertz);
    lowpass.frequency.setValueAtTime(limit(from * bright * frequency + more), context.currentTime);
    lowpass.frequency.setTargetAtTime(limit(to * frequency + least), context.currentTime + 0.01, time);
    lowpass.connect(level);
    return lowpass;
  }

  return (at, note, velocity) => {
    const family = FAMILIES[familyOf(at.program)];
    const now = context.currentTime;
    const frequency = 440 * 2 ** ((note - 69) / 12);
    // Low strings ring longer.
    const decay = family.decay && Math.max(0.12, family.decay * 2 ** ((60 - note) / 20));
    const level = context.createGain();
    const tone = addTone(family, frequency, velocity, level);
    const sources = family.partials ? addPartials(family, at, frequency, tone, decay) : (family.cents ?? [0]).map((cents) => addSource(family, at, frequency, cents, tone));
    level.connect(at.gain);
    level.gain.setValueAtTime(0, now);
    level.gain.linearRampToValueAtTime((velocity / 127) ** 1.6 * family.level, now + family.attack);
    if (decay && !family.partials) level.gain.setTargetAtTime(0, now + family.attack, decay);
    const clear = () => {
      level.disconnect();
      for (const source of sources) {
        at.bend.disconnect(source.detune);
        if (family.vibrato) vibrato(family.vibrato).disconnect(source.detune);
      }
    };
    return { at, note, level, sources, held: true, fall: family.fall, clear };
  };
}

/** The whole of it in a context, which may be an offline one. */
export function build(context, decibels) {
  const { limiter, master } = buildOutput(context, decibels);
  const sound = buildVoices(context);
  const places = new Map();
  let voices = [];

  function place(output, channel) {
    const name = output * 16 + channel;
    if (!places.has(name)) {
      const gain = context.createGain();
      gain.gain.value = 0.7;
      gain.connect(limiter);
      const bend = context.createConstantSource();
      bend.offset.value = 0;
      bend.start();
      places.set(name, { gain, bend, volume: 100, expression: 127, pedal: false, program: 0 });
    }
    return places.get(name);
  }

  const setLevel = (at) => at.gain.gain.setTargetAtTime(0.9 * (at.volume / 127) ** 2 * (at.expression / 127) ** 2, context.currentTime, EASE);
  const setBend = (at, part) => at.bend.offset.setTargetAtTime(BEND * part, context.currentTime, 0.005);

  function strike(at, note, velocity) {
    if (voices.length >= MOST) end(voices[0], 0.03);
    voices.push(sound(at, note, velocity));
  }

  function end(voice, fall = voice.fall) {
    voices = voices.filter((other) => other !== voice);
    const now = context.currentTime;
    const param = voice.level.gain;
    if (param.cancelAndHoldAtTime) param.cancelAndHoldAtTime(now);
    else param.cancelScheduledValues(now);
    param.setTargetAtTime(0, now, fall / 3);
    for (const source of voice.sources) source.stop(now + fall * 2.5);
    voice.sources[0].onended = voice.clear;
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
    if (number === 121) {
      at.expression = 127;
      setBend(at, 0);
    }
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
        else if (kind === 0xe0) setBend(at, ((second << 7) + first - 8192) / 8192);
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
