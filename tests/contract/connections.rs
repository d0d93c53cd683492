//! Connections that others make with our ports.

use handspan::ports::{Arrival, Connection, Direction, Ports, Target, Wish};

use super::{Stage, expect, expect_calm, output, same, send_all};

/// One virtual output, with an instrument that a person has connected to it.
fn synth(stage: &mut dyn Stage, reconnect: bool) -> Result<(Box<dyn Ports>, usize, Wish), String> {
    let wish = Wish { outputs: vec![output("piano", Target::Virtual, false)], reconnect, ..Wish::default() };
    let ports = stage.open(&wish).map_err(|error| error.to_string())?;
    let synth = stage.instrument("Synth", "in");
    stage.connect(0, "piano", synth)?;
    Ok((ports, synth, wish))
}

fn known(ports: &dyn Ports, peers: &[&str]) -> Result<(), String> {
    let known = ports.connections();
    let expected: Vec<Connection> = (peers.iter())
        .map(|peer| Connection { direction: Direction::Output, port: "piano".into(), peer: (*peer).into() })
        .collect();
    if known == expected { Ok(()) } else { Err(format!("expected {expected:?}, it knows {known:?}")) }
}

/// It is, within a run and from run to run.
pub fn connected_again(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, synth, wish) = synth(stage, true)?;
    if !ports.capabilities().knows_connections {
        return known(&*ports, &[]);
    }
    expect(&mut *ports, Arrival::OutputBack(0))?;
    known(&*ports, &["Synth: in"])?;
    stage.take_away_instrument(synth);
    expect(&mut *ports, Arrival::OutputDisconnected(0))?;
    known(&*ports, &["Synth: in"])?;
    let synth = stage.instrument("Synth", "in");
    expect(&mut *ports, Arrival::OutputBack(0))?;
    send_all(&mut *ports, 0, &[vec![0x90, 60, 1]])?;
    same(&[vec![0x90, 60, 1]], &stage.heard())?;
    expect_calm(&mut *ports)?;
    // The next run, with the synth there, and one that finds it away.
    let remembered = ports.connections();
    drop(ports);
    let wish = Wish { remembered, ..wish };
    let mut ports = stage.open(&wish).map_err(|error| error.to_string())?;
    send_all(&mut *ports, 0, &[vec![0x90, 61, 1]])?;
    same(&[vec![0x90, 61, 1]], &stage.heard())?;
    expect_calm(&mut *ports)?;
    drop(ports);
    stage.take_away_instrument(synth);
    let mut ports = stage.open(&wish).map_err(|error| error.to_string())?;
    known(&*ports, &["Synth: in"])?;
    stage.instrument("Synth", "in");
    expect(&mut *ports, Arrival::OutputBack(0))?;
    known(&*ports, &["Synth: in"])?;
    expect_calm(&mut *ports)
}

/// Who takes a connection away while both sides live means it.
pub fn disconnected(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, synth, _) = synth(stage, true)?;
    if !ports.capabilities().knows_connections {
        return Ok(());
    }
    expect(&mut *ports, Arrival::OutputBack(0))?;
    stage.disconnect(0, "piano", synth)?;
    expect(&mut *ports, Arrival::OutputDisconnected(0))?;
    expect_calm(&mut *ports)?;
    known(&*ports, &[])?;
    stage.connect(0, "piano", synth)?;
    expect(&mut *ports, Arrival::OutputBack(0))?;
    known(&*ports, &["Synth: in"])
}

/// The gear file can ask for that.
pub fn not_connected_again(stage: &mut dyn Stage) -> Result<(), String> {
    let (mut ports, synth, wish) = synth(stage, false)?;
    if !ports.capabilities().knows_connections {
        return Ok(());
    }
    expect(&mut *ports, Arrival::OutputBack(0))?;
    let remembered = ports.connections();
    stage.take_away_instrument(synth);
    expect(&mut *ports, Arrival::OutputDisconnected(0))?;
    known(&*ports, &[])?;
    stage.instrument("Synth", "in");
    // Longer than a program gets to connect itself.
    for _ in 0..4 {
        expect_calm(&mut *ports)?;
    }
    drop(ports);
    let ports = stage.open(&Wish { remembered, ..wish }).map_err(|error| error.to_string())?;
    known(&*ports, &[])
}
