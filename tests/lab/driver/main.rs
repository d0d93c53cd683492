//! Runs inside the lab: plugs and unplugs real USB keyboards, plays on them, listens to what comes out of handspan's
//! ports, and says a line for each scenario. Arguments: parts of the names of scenarios that are to run, none for all;
//! `clock=wall` chooses those that need the wall's clock, `clock=counted` all others; `seed=N` for chances, `stand=PORT` for
//! the page that is seen from outside. `names` as the first argument says the names only.

#[cfg(target_os = "linux")]
mod checking;
#[cfg(target_os = "linux")]
#[path = "../../contract/mod.rs"]
mod contract;
#[cfg(target_os = "linux")]
mod cues;
#[cfg(target_os = "linux")]
mod files;
#[cfg(target_os = "linux")]
mod gadget;
#[cfg(target_os = "linux")]
mod hand;
#[cfg(target_os = "linux")]
mod keeping;
#[cfg(target_os = "linux")]
mod kept;
#[cfg(target_os = "linux")]
mod latency;
#[cfg(target_os = "linux")]
mod memory;
#[cfg(target_os = "linux")]
#[allow(dead_code)]
#[path = "../../page_socket/page.rs"]
mod page;
#[cfg(target_os = "linux")]
mod playing;
#[cfg(target_os = "linux")]
mod program;
#[cfg(target_os = "linux")]
mod sequencer;
#[cfg(target_os = "linux")]
mod sets;
#[cfg(target_os = "linux")]
mod socket;
#[cfg(target_os = "linux")]
mod stand;
#[cfg(target_os = "linux")]
mod tablet;
#[cfg(target_os = "linux")]
mod take;
#[cfg(target_os = "linux")]
mod trouble;
#[cfg(target_os = "linux")]
mod yardstick;

#[cfg(target_os = "linux")]
#[global_allocator]
static MEMORY: memory::Counting = memory::Counting;

/// Scenarios that need the clock of the world outside, where the browser is; or processors that really run at the same
/// time, where it counts that one listens while others are still at it. With a counted clock each has its turn until the
/// other's next timer, some milliseconds.
#[cfg(target_os = "linux")]
const BY_THE_WALL: [&str; 3] = ["tablet/", "stand/latency_under_siege", "latency/through_8_zones"];

/// What a scenario says: a remark when it went well, what went otherwise than it must.
#[cfg(target_os = "linux")]
type Said = Result<String, String>;

#[cfg(target_os = "linux")]
fn main() -> std::process::ExitCode {
    use std::panic::{AssertUnwindSafe, catch_unwind};
    use std::process::ExitCode;

    let arguments: Vec<String> = std::env::args().collect();
    if let [_, task, socket, asked] = &arguments[..]
        && task == "knock"
    {
        return match socket::knocking(socket, asked) {
            Ok(answer) => {
                print!("{answer}");
                ExitCode::SUCCESS
            }
            Err(error) => {
                eprintln!("{error}");
                ExitCode::FAILURE
            }
        };
    }
    let given = |name: &str| arguments.iter().find_map(|argument| argument.strip_prefix(name)?.strip_prefix('='));
    trouble::set_seed(given("seed").and_then(|seed| seed.parse().ok()));
    let port = given("stand").and_then(|port| port.parse().ok()).unwrap_or(7355);
    let only_names = arguments.get(1).is_some_and(|first| first == "names");
    let parts: Vec<&String> =
        arguments.iter().skip(1 + usize::from(only_names)).filter(|part| !part.contains('=')).collect();
    let wanted = |name: &str| {
        let by_the_wall = BY_THE_WALL.iter().any(|part| name.starts_with(part));
        let is_out = given("clock").is_some_and(|clock| (clock == "wall") != by_the_wall);
        !is_out && (parts.is_empty() || parts.iter().any(|part| name.contains(part.as_str())))
    };
    let mut scenarios = tablet::scenarios(port);
    scenarios.extend(keeping::scenarios());
    scenarios.extend(playing::scenarios());
    scenarios.extend(take::scenarios());
    scenarios.extend(hand::scenarios());
    scenarios.extend(cues::scenarios());
    scenarios.extend(socket::scenarios());
    scenarios.extend(stand::scenarios());
    scenarios.extend(files::scenarios());
    scenarios.extend(kept::scenarios());
    scenarios.extend(checking::scenarios());
    scenarios.extend(trouble::scenarios());
    scenarios.extend(latency::scenarios());
    scenarios.retain(|(name, _)| wanted(name));
    if only_names {
        scenarios.iter().for_each(|(name, _)| println!("{name}"));
        return ExitCode::SUCCESS;
    }
    let mut failed = 0;
    for (name, scenario) in scenarios {
        let said = catch_unwind(AssertUnwindSafe(scenario)).unwrap_or_else(|_| Err("the scenario panicked".into()));
        match said {
            Ok(remark) => println!("ok {name} {remark}"),
            Err(why) => {
                failed += 1;
                println!("FAILED {name} {}", why.replace('\n', "\n    "));
            }
        }
    }
    if failed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

#[cfg(not(target_os = "linux"))]
fn main() {
    println!("The lab runs on Linux.");
}
