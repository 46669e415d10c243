//! Sessions on disk for the benches.

use scrimcheck::ingest::session::Session;
use scrimcheck::simulate::{demo_scenario, simulate, write};
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// The reference session, six seats, two conditions, two spots, 24 takes of 6.5 s at 48 kHz
/// and 24 bit, in a folder of its own: the invented job of the demo.
pub fn reference() -> (TempDir, Session) {
    let home = tempfile::tempdir().expect("a temporary folder");
    let room = home.path().join("room");
    write(&simulate(&demo_scenario()), &room).expect("a simulated session");
    let session = Session::open(&room).expect("the session just written");
    let takes = session.takes.len();
    assert!(takes >= 24, "{takes} takes");
    (home, session)
}

/// The first seat of `session`, `n_seats` times: two takes a seat, each a file of its own.
pub fn many_seats(session: &Session, n_seats: usize) -> (TempDir, Session) {
    let home = tempfile::tempdir().expect("a temporary folder");
    let room = home.path();
    fs::create_dir(room.join("takes")).expect("a folder");
    let sweep = &session.manifest.sweep.file;
    fs::copy(session.root.join(sweep), room.join("sweep.wav")).expect("the sweep");
    let s = &session.manifest.sweep;
    let mut text = format!(
        "[session]\ntitle = \"Many seats\"\n[sweep]\nfile = \"sweep.wav\"\nstart_hz = {:?}\n\
         stop_hz = {:?}\nduration_s = {:?}\n[screen]\ngap_m = 0.065\n",
        s.start_hz,
        s.stop_hz,
        s.duration_s.expect("a stated length")
    );
    // The first take of each condition; links to one file would be refused as one take.
    let takes: Vec<&Path> = {
        let first = session.takes[0].condition;
        let other = session.takes.iter().find(|t| t.condition != first).expect("two conditions");
        vec![&session.takes[0].file, &other.file]
    };
    for seat in 0..n_seats {
        text += &format!("[[seat]]\nid = \"S{seat}\"\nposition_m = [3.{seat:03}, 0.5, 1.1]\n");
        for (take, condition) in takes.iter().zip(["without", "with"]) {
            let name = room.join(format!("takes/S{seat}_{condition}_1.wav"));
            fs::hard_link(session.root.join(take), &name)
                .or_else(|_| fs::copy(session.root.join(take), &name).map(|_| ()))
                .expect("a take");
        }
    }
    fs::write(room.join("session.toml"), text).expect("a manifest");
    let session = Session::open(room).expect("the session just written");
    (home, session)
}
