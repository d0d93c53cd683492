//! Reads the gear file.

use super::diagnostic::{Diagnostic, FaultKind, quoted};
use super::names::Names;
use super::reader::{Fields, Value};
use super::values::{self, ALL_KEYS};
use super::{At, Cable, Curve, Gear, Input, Output, Sound, allowed, cue, schema, stand};
use crate::midi::{Channel, U7};

/// Reads the gear; what is wrong goes to the file.
pub(super) fn read(mut top: Fields<'_>) -> (Gear, Names) {
    values::middle_c(&mut top);
    let map_file = top.map_file;
    let mut names = Names::none(map_file.has_all_names());
    let mut time = |name, default: u64| {
        top.take(name).and_then(|value| values::milliseconds(&value, 0.0, 1000.0)).unwrap_or(default)
    };
    let (gather, early) = (time("gather_ms", 45_000), time("early_ms", 0));
    let reconnect = top.take("reconnect").and_then(|value| value.flag()).unwrap_or(true);
    let curves = curves(&mut top, &mut names);
    let inputs = inputs(&mut top, &mut names);
    let outputs = outputs(&mut top, &mut names);
    let sounds = sounds(&mut top, &mut names);
    let cues = cue::list(&mut top, &names);
    let stand = stand::read(&mut top, &inputs, &names);
    top.done();
    let middle_c = map_file.middle_c.get();
    (Gear { middle_c, gather, early, reconnect, inputs, outputs, sounds, curves, cues, stand }, names)
}

/// The named tables below one heading, such as all of `[inputs]`; `whole` turns false if that is no table,
/// so that none of its names can be called unknown.
fn named<'a>(top: &mut Fields<'a>, heading: &'static str, whole: &mut bool) -> Vec<(At<String>, Value<'a>)> {
    let Some(value) = top.take(heading) else { return Vec::new() };
    let Some(table) = value.table(heading) else {
        *whole = false;
        return Vec::new();
    };
    let named: Vec<_> = table.named().collect();
    for (name, value) in &named {
        if name.value.trim().is_empty() {
            let fault = Diagnostic::error(FaultKind::Finding, name.spot, "a name may not be empty");
            value
                .map_file
                .report(fault.help(format!("write for example {}", schema::example("the gear file", heading))));
        }
    }
    named
}

fn curves(top: &mut Fields<'_>, names: &mut Names) -> Vec<(At<String>, Curve)> {
    let mut curves = Vec::new();
    for (name, value) in named(top, "curves", &mut names.curves.whole) {
        let curve = values::inline_curve(&value);
        names.curves.list.push((name.value.clone(), curve.clone()));
        curves.extend(curve.map(|curve| (name, curve)));
    }
    curves
}

fn inputs(top: &mut Fields<'_>, names: &mut Names) -> Vec<Input> {
    let tables = named(top, "inputs", &mut names.inputs.whole);
    if tables.is_empty() && !top.has("inputs") && !top.map_file.may_have("inputs") {
        let fault = Diagnostic::error(FaultKind::Finding, top.spot, "the gear file has no input to play on");
        top.map_file.report(fault.help("write [inputs.keyboard], and below it port = \"part of the port's name\""));
    }
    let several = tables.len() > 1;
    let mut inputs = Vec::new();
    for (name, value) in tables {
        let Some(mut fields) = value.table("an input") else {
            names.inputs.list.push((name.value, true));
            continue;
        };
        if several && !fields.has("play") && !top.map_file.may_have("play") {
            let title = format!("the input {} does not say whether it plays", quoted(&name.value));
            let fault = Diagnostic::error(FaultKind::Finding, name.spot, title);
            let help = "where there are several inputs, write play = true for keys that sound, play = false for cues and pedals only";
            top.map_file.report(fault.help(help));
        }
        let input = Input {
            port: fields.need("port").and_then(|value| value.text()).unwrap_or_else(|| values::unread(top.map_file)),
            serial: fields.take("serial").and_then(|value| value.text()).map(|at| at.value),
            channel: fields.take("channel").and_then(|value| values::channel(&value)),
            keys: fields.take("keys").and_then(|value| values::range(&value)).map_or(ALL_KEYS, |at| at.value),
            curve: fields.take("curve").and_then(|value| values::curve(&value, &names.curves)),
            renumber: fields.take("renumber").map(|value| renumbered(&value)).unwrap_or_default(),
            play: fields.take("play").and_then(|value| value.flag()).unwrap_or(true),
            optional: fields.take("optional").and_then(|value| value.flag()).unwrap_or(false),
            name,
        };
        fields.done();
        names.inputs.list.push((input.name.value.clone(), input.play));
        inputs.push(input);
    }
    inputs
}

/// Controllers that arrive as others: `{ 7 = 11 }`.
fn renumbered(value: &Value<'_>) -> Vec<(U7, U7)> {
    let Some(table) = value.table("renumber") else { return Vec::new() };
    let mut controls: Vec<(U7, U7)> = Vec::new();
    for (from, to) in table.named() {
        let number = from.value.parse::<u8>().ok().and_then(|number| U7::new(number).ok());
        let Some(number) = number else {
            let title = format!("{} is not the number of a controller", quoted(&from.value));
            let fault = Diagnostic::error(FaultKind::Finding, from.spot, title);
            value.map_file.report(
                fault.help("write a number from 0 to 127, for example renumber = { 7 = 11 }: its 7 counts as 11"),
            );
            continue;
        };
        if controls.iter().any(|(known, _)| *known == number) {
            let title = format!("controller {} is renumbered twice", u8::from(number));
            value
                .map_file
                .report(Diagnostic::error(FaultKind::Finding, from.spot, title).help("take one of the two out"));
        }
        let Some(target) = values::seven_bits(&to) else { continue };
        if u8::from(number) >= 120 || u8::from(target) >= 120 {
            let title = "120 to 127 are commands such as all notes off, not controllers";
            value.map_file.report(Diagnostic::error(FaultKind::Finding, to.spot, title).help("take it out"));
        }
        controls.push((number, target));
    }
    controls
}

fn outputs(top: &mut Fields<'_>, names: &mut Names) -> Vec<Output> {
    let mut outputs = Vec::new();
    for (name, value) in named(top, "outputs", &mut names.outputs.whole) {
        names.outputs.list.push((name.value.clone(), ()));
        let Some(mut fields) = value.table("an output") else { continue };
        let mut flag = |field| {
            let value = fields.take(field);
            (value.and_then(|value| value.flag()).unwrap_or(false), value.map(|value| value.spot))
        };
        let ((own, _), (optional, _), (sysex, _)) = (flag("virtual"), flag("optional"), flag("pass_sysex"));
        let ((clock, clock_spot), (tempo, tempo_spot)) = (flag("pass_clock"), flag("send_clock"));
        if let (true, true, Some(first), Some(second)) = (clock, tempo, clock_spot, tempo_spot) {
            let title =
                format!("the output {} would get two clocks: the one that comes in, and ours", quoted(&name.value));
            let fault =
                Diagnostic::error(FaultKind::Finding, second, title).label("ours").also(first, "the one that comes in");
            top.map_file
                .report(fault.help("take send_clock out to pass on the one that comes in, or pass_clock to send ours"));
        }
        let port = fields.take("port");
        let unread = top.map_file.may_have("port") || top.map_file.may_have("virtual");
        if own == port.is_some() && !unread {
            let title = format!(
                "the output {} {}",
                quoted(&name.value),
                if own {
                    "is virtual and names a port too"
                } else {
                    "leads nowhere: it is neither virtual nor has it a port"
                }
            );
            let fault = Diagnostic::error(FaultKind::Finding, name.spot, title);
            top.map_file.report(fault.help(
                "write virtual = true for a port that other programs see as handspan's, or port = \"part of its name\" for one that exists",
            ));
        }
        outputs.push(Output {
            port: port.and_then(|value| value.text()),
            optional,
            cable: fields.take("cable").and_then(|value| value.choice(&allowed::CABLES)).unwrap_or(Cable::Usb),
            pass_clock: clock,
            send_clock: tempo,
            pass_sysex: sysex,
            name,
        });
        fields.done();
    }
    outputs
}

fn sounds(top: &mut Fields<'_>, names: &mut Names) -> Vec<Sound> {
    let mut sounds = Vec::new();
    for (name, value) in named(top, "sounds", &mut names.sounds.whole) {
        names.sounds.list.push((name.value.clone(), ()));
        let Some(mut fields) = value.table("a sound") else { continue };
        let output = fields.need("output").and_then(|value| value.text());
        if let Some(output) = &output {
            names.outputs.find(top.map_file, output);
        }
        let channel = fields.need("channel").and_then(|value| values::channel(&value));
        let sound = Sound {
            output: output.clone().unwrap_or_else(|| values::unread(top.map_file)),
            channel: channel.unwrap_or(Channel::Ch1),
            program: fields.take("program").and_then(|value| values::program(&value)),
            bank: fields.take("bank").and_then(|value| values::bank(&value)),
            volume: fields.take("volume").and_then(|value| values::seven_bits(&value)),
            pan: fields.take("pan").and_then(|value| values::seven_bits(&value)),
            label: fields.take("label").and_then(|value| value.text()).map(|at| at.value),
            name,
        };
        fields.done();
        // A sound without its place would seem to share another's.
        if output.is_some() && channel.is_some() {
            sounds.push(sound);
        }
    }
    sounds
}
