//! Broken and nasty sessions, through the built command.
//!
//! Each case spoils a small good session and runs a command on it. The table says
//! what must come out (refused, warned, accepted, ...) and which words must name the
//! culprit; the runner sees that nothing is left behind, nothing of the user's has
//! changed, nothing panics, and that 2 GiB and 60 s suffice.

mod commands;
mod folders;
#[cfg(unix)]
mod interrupted;
mod light;
#[cfg(unix)]
mod links;
mod manifests;
mod names;
mod opened;
#[cfg(unix)]
mod places;
mod recordings;
mod room;
mod run;
mod signals;

use run::{Case, check_all};

#[test]
fn every_spoilt_session_ends_as_the_table_says() {
    let mut cases: Vec<Case> = Vec::new();
    cases.extend(folders::cases());
    cases.extend(manifests::cases());
    cases.extend(recordings::cases());
    cases.extend(signals::cases());
    cases.extend(names::cases());
    cases.extend(light::cases());
    cases.extend(commands::cases());
    #[cfg(unix)]
    cases.extend(links::cases());
    #[cfg(unix)]
    cases.extend(places::cases());
    assert!(cases.len() >= 200, "{} cases", cases.len());
    check_all(&cases);
}
