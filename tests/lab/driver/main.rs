//! Runs inside the lab: plugs and unplugs real USB keyboards, plays on them, listens to what comes out of handspan's
//! ports, and says a line for each scenario. Arguments choose scenarios by parts of their names.

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
mod post;
#[cfg(target_os = "linux")]
mod program;
#[cfg(target_os = "linux")]
mod sequencer;
#[cfg(target_os = "linux")]
mod sets;
#[cfg(target_os = "linux")]
mod stand;
#[cfg(target_os = "linux")]
mod tablet;
#[cfg(target_os = "linux")]
mod take;
#[cfg(target_os = "linux")]
mod trouble;

#[cfg(target_os = "linux")]
#[global_allocator]
static MEMORY: memory::Counting = memory::Counting;

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
        return match post::knocking(socket, asked) {
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
    let seed = std::env::args().find_map(|argument| argument.strip_prefix("seed=")?.parse().ok());
    trouble::set_seed(seed);
    let parts: Vec<String> = std::env::args().skip(1).filter(|part| !part.starts_with("seed=")).collect();
    let wanted = |name: &str| parts.is_empty() || parts.iter().any(|part| name.contains(part));
    // First: the browser outside waits for it.
    let mut scenarios = tablet::scenarios();
    scenarios.extend(keeping::scenarios());
    scenarios.extend(playing::scenarios());
    scenarios.extend(take::scenarios());
    scenarios.extend(hand::scenarios());
    scenarios.extend(cues::scenarios());
    scenarios.extend(post::scenarios());
    scenarios.extend(stand::scenarios());
    scenarios.extend(files::scenarios());
    scenarios.extend(kept::scenarios());
    scenarios.extend(checking::scenarios());
    scenarios.extend(trouble::scenarios());
    scenarios.extend(latency::scenarios());
    let mut failed = 0;
    for (name, scenario) in scenarios.into_iter().filter(|(name, _)| wanted(name)) {
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
