//! The loss against sessions whose truth is known, and against what must not change it.
//!
//! Truth comes from `src/simulate`, which shares no code with what is tested here. The
//! limits are wider than what `examples/accuracy` measures on many sessions (see the table in
//! `examples/accuracy/measured.md`), so that they fail on a fault and not on a draw.

mod support;

use scrimcheck::analysis::loss::{LossTable, losses};
use scrimcheck::ingest::manifest::Condition;
use scrimcheck::ingest::session::{Recording, Session};
use scrimcheck::simulate::demo::demo_scenario;
use scrimcheck::simulate::memory::InMemory;
use scrimcheck::simulate::{Kind, Scenario, simulate};
use scrimcheck::transfer::drift::DriftDifference;
use scrimcheck::transfer::measure::measure;
use std::path::Path;
use support::assert_close;

/// First band that is told by the direct sound: 500 Hz.
const FROM_500_HZ: usize = 7;

fn table(memory: &InMemory, change: &(dyn Fn(usize, &mut Recording) + Sync)) -> LossTable {
    let session = &memory.session;
    let read = |take: usize| {
        let mut recording = memory.recording(take);
        change(take, &mut recording);
        Ok(recording)
    };
    let transfers = measure(session, &read, session.manifest.screen.gap_m, &|| ())
        .expect("a simulated session can be measured");
    losses(&session.manifest, &transfers, &transfers.seats).0
}

fn values(table: &LossTable, seat: usize) -> Vec<f64> {
    table.seats[seat].loss.iter().map(|e| e.expect("every band is there").value_db).collect()
}

/// A short session: the demo's room with three seats and a sweep of one second.
fn short_session() -> InMemory {
    let mut scenario = demo_scenario();
    scenario.seats.truncate(3);
    scenario.sweep.duration_s = 1.0;
    scenario.lead_s = 0.15;
    scenario.trail_s = 0.45;
    InMemory::new(simulate(&scenario)).expect("its manifest parses")
}

fn session_of(kind: Kind, seed: u64) -> InMemory {
    InMemory::new(simulate(&Scenario::random(kind, seed))).expect("its manifest parses")
}

/// Errors of all seats from 500 Hz up, and how many of them lie within U.
fn errors(memory: &InMemory) -> (Vec<f64>, usize) {
    let table = table(memory, &|_, _| ());
    let mut inside = 0;
    let mut errors = Vec::new();
    for (seat, truth) in memory.simulated.truth.seats.iter().enumerate() {
        let found = table.seats[seat].loss.iter().map(|e| e.expect("every band is there"));
        for (found, truth) in found.zip(truth).skip(FROM_500_HZ) {
            let error = found.value_db - truth;
            assert!(error.is_finite() && found.u95_db.is_finite());
            inside += usize::from(error.abs() <= found.u95_db);
            errors.push(error);
        }
    }
    (errors, inside)
}

fn rms(x: &[f64]) -> f64 {
    assert!(!x.is_empty());
    (x.iter().map(|v| v * v).sum::<f64>() / x.len() as f64).sqrt()
}

#[test]
fn the_true_loss_is_found_and_lies_within_its_uncertainty() {
    let mut all = Vec::new();
    let mut inside = 0;
    for (kind, seed, limit_db) in [
        (Kind::Woven, 1, 0.15),
        (Kind::Mixed, 3, 0.10),
        (Kind::Mixed, 7, 0.20),
        // Weak echoes, and reflections of the room that resemble them at 1.04 times the gap.
        (Kind::Mixed, 8004, 0.08),
        // A horn that reaches 7 cm behind the front.
        (Kind::Mixed, 8013, 0.11),
        (Kind::Unknown, 2, 0.15),
        (Kind::Backing, 1, 0.15),
        (Kind::OneSpotReflective, 4, 0.20),
        (Kind::HeavyLargeGap, 101, 0.30),
    ] {
        let (errors, within) = errors(&session_of(kind, seed));
        let found = rms(&errors);
        assert!(found < limit_db, "{kind:?} {seed}: rms error {found:.3} dB");
        inside += within;
        all.extend(errors);
    }
    let share = inside as f64 / all.len() as f64;
    assert!(share > 0.88, "{:.1} % of the truths lie within U", 100.0 * share);
}

#[test]
fn a_session_on_disk_gives_its_truth() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("sessions/three-seats");
    let session = Session::open(&root).expect("the kept session opens");
    let read = |take: usize| session.read_take(&session.takes[take]);
    let transfers =
        measure(&session, &read, session.manifest.screen.gap_m, &|| ()).expect("it is measured");
    let (found, _) = losses(&session.manifest, &transfers, &transfers.seats);
    // The same scenario, simulated anew, knows the truth.
    let truth = short_session().simulated.truth;
    for (seat, truth) in truth.seats.iter().enumerate() {
        let got = values(&found, seat);
        assert_close("loss from 500 Hz up", &got[FROM_500_HZ..], &truth[FROM_500_HZ..], 0.25);
    }
}

#[test]
fn equal_gain_and_polarity_on_all_takes_change_nothing() {
    let memory = short_session();
    let plain = table(&memory, &|_, _| ());
    let changed = table(&memory, &|_, r| r.mic.iter_mut().for_each(|x| *x *= -0.25));
    for seat in 0..3 {
        assert_close("equal gain", &values(&changed, seat), &values(&plain, seat), 1e-9);
    }
}

#[test]
fn a_gain_step_is_a_loss_of_its_size_in_every_band() {
    let memory = short_session();
    let plain = table(&memory, &|_, _| ());
    let half = 10f64.powf(-1.0 / 20.0);
    let stepped = table(&memory, &|take, r| {
        if memory.session.takes[take].condition == Condition::With {
            r.mic.iter_mut().for_each(|x| *x *= half);
        }
    });
    for seat in 0..3 {
        let want: Vec<f64> = values(&plain, seat).iter().map(|x| x + 1.0).collect();
        // Not exact: how much a sheet sends back to the loudspeaker follows from how much it
        // passes, and a step looks like less of it.
        assert_close("1 dB step", &values(&stepped, seat), &want, 0.06);
    }
}

#[test]
fn a_delay_of_a_take_changes_nothing() {
    let memory = short_session();
    let plain = table(&memory, &|_, _| ());
    // Odd and even numbers of samples, so that lengths differ from take to take as well.
    let delayed = table(&memory, &|take, r| {
        let lead = vec![0.0; 7 * take + 4];
        r.mic.splice(0..0, lead);
    });
    for seat in 0..3 {
        let (got, want) = (values(&delayed, seat), values(&plain, seat));
        // Other transform lengths: noise falls differently.
        assert_close("delay", &got, &want, 0.03);
    }
}

#[test]
fn two_equal_conditions_lose_nothing() {
    let memory = short_session();
    let session = &memory.session;
    // Every take with the screen is replaced by the one without at the same seat and spot.
    let read = |take: usize| {
        let wanted = &session.takes[take];
        let source = session
            .takes
            .iter()
            .position(|t| {
                t.seat == wanted.seat && t.spot == wanted.spot && t.condition == Condition::Without
            })
            .expect("each take has its partner");
        Ok(memory.recording(source))
    };
    let transfers = measure(session, &read, session.manifest.screen.gap_m, &|| ())
        .expect("the session can be measured");
    let (table, _) = losses(&session.manifest, &transfers, &transfers.seats);
    for seat in 0..3 {
        let zero = vec![0.0; table.bands.len()];
        // Pairs of different spots see a moved microphone, as with a screen.
        assert_close("no screen", &values(&table, seat), &zero, 0.09);
    }
}

#[test]
fn swapping_the_conditions_negates_the_loss_in_the_room() {
    let memory = short_session();
    let plain = table(&memory, &|_, _| ());
    let mut swapped_memory = short_session();
    for take in &mut swapped_memory.session.takes {
        take.condition = match take.condition {
            Condition::Without => Condition::With,
            _ => Condition::Without,
        };
    }
    let swapped = table(&swapped_memory, &|_, _| ());
    for seat in 0..3 {
        let in_room = |t: &LossTable| -> Vec<f64> {
            t.seats[seat].in_room_db.iter().map(|x| x.expect("every band is there")).collect()
        };
        let want: Vec<f64> = in_room(&plain).iter().map(|x| -x).collect();
        assert_close("swapped", &in_room(&swapped), &want, 1e-9);
    }
}

/// A clock that runs 60 ppm fast with the screen moves no loss by more than its uncertainty.
#[test]
fn a_difference_in_clock_drift_is_found_and_removed() {
    let mut scenario = demo_scenario();
    scenario.seats.truncate(2);
    scenario.recorder.drift_ppm = [0.0, 60.0];
    let memory = InMemory::new(simulate(&scenario)).expect("its manifest parses");
    let session = &memory.session;
    let transfers =
        measure(session, &|take| Ok(memory.recording(take)), session.manifest.screen.gap_m, &|| ())
            .expect("the session can be measured");
    let DriftDifference { ppm, stands_out: removed } =
        transfers.drift_difference.expect("an exponential sweep");
    assert!((ppm - 60.0).abs() < 10.0 && removed, "{ppm} ppm, removed: {removed}");
}
