//! Verdicts made on the example, and what is said of them.

use super::*;
use crate::analysis::claims::{LightFigure, hold_to_seats, judge_claims, judge_light};
use crate::analysis::loss::LossTable;
use crate::analysis::open_level::OpenLevel;
use crate::analysis::open_level::SharedLevel;
use crate::report::example::example_losses;

fn claim(text: &str) -> Claim {
    toml::from_str(text).unwrap()
}

fn maximum(limit_db: f64) -> Claim {
    claim(&format!("quantity = \"maximum_loss\"\nband_hz = [500, 16000]\nlimit_db = {limit_db:?}"))
}

fn told(claim: &Claim, table: &LossTable, open: OpenLevel) -> Said<ClaimVerdict, ClaimWords> {
    said(
        judge_claims(std::slice::from_ref(claim), table, SharedLevel { u_db: 0.0, open }).remove(0),
    )
}

#[test]
fn a_verdict_is_told_with_figure_place_and_limit() {
    let table = example_losses(3).1;
    let fail = told(&maximum(0.1), &table, OpenLevel::Controlled);
    assert_eq!(fail.words.subject, "largest loss from 500 Hz to 16 kHz");
    let sentence = &fail.words.sentence;
    assert!(sentence.starts_with("Largest loss from 500 Hz to 16 kHz, mean over 3 seats: "));
    assert!(
        sentence.contains(" dB (")
            && sentence.contains("Maker's limit: at most 0.1 dB. Not kept (prob")
    );
    assert_eq!(fail.words.reason, None);
}

#[test]
fn another_place_that_decides_is_named() {
    let mut verdict = told(&maximum(9.0), &example_losses(3).1, OpenLevel::Controlled).found;
    let Basis::Loss { decided_at, .. } = &mut verdict.basis else { panic!("{verdict:?}") };
    assert_eq!(*decided_at, None);
    *decided_at =
        Some((Place { nominal_hz: Some(1000.0), seats: vec!["A".into(), "B".into()] }, 0.5));
    let sentence = said(verdict).words.sentence;
    let end = " What decides is 1 kHz between seats A and B: 0.50 dB, less certain.";
    assert!(sentence.ends_with(end), "{sentence}");
}

#[test]
fn the_level_is_spoken_of_where_it_counts() {
    let table = example_losses(3).1;
    let bounded = OpenLevel::Bounded { higher_db: 0.3, lower_db: 0.3 };
    let proviso = "which no control takes show";
    assert!(told(&maximum(3.0), &table, bounded).words.sentence.contains(proviso));
    assert!(!told(&maximum(3.0), &table, OpenLevel::Controlled).words.sentence.contains(proviso));
    let relative =
        claim("quantity = \"relative_loss\"\nat_hz = 6000\nreference_hz = 500\nlimit_db = 3.0");
    assert!(!told(&relative, &table, bounded).words.sentence.contains(proviso));
    let unknown = told(&maximum(3.0), &table, OpenLevel::Unknown).words;
    assert!(unknown.sentence.starts_with("Nothing is shown about the largest loss from 500 Hz"));
    assert!(unknown.reason.unwrap().contains("no control takes were made"));
}

#[test]
fn what_is_absent_is_named_and_the_rest_counted() {
    let mut table = example_losses(3).1;
    let k4 = table.bands.iter().position(|b| b.nominal_hz() == 4000.0).unwrap();
    table.seats[1].loss[k4] = None;
    table.seats[1].absent[k4] = Some(Absence::Noise { snr_db: 2.0 });
    let id = &table.seats[1].id;
    let why = format!("4 kHz at seat {id}: the takes stand only 2.0 dB above the noise");
    assert_eq!(told(&maximum(9.0), &table, OpenLevel::Controlled).words.reason, Some(why.clone()));
    table.seats[1].loss[k4 - 5..k4].fill(None);
    let many = told(&maximum(9.0), &table, OpenLevel::Controlled).words.reason.unwrap();
    assert!(many.ends_with("; and 3 more") && many.matches(": no value").count() == 3, "{many}");
    let to_20k = Claim { band_hz: Some([500.0, 20_000.0]), ..maximum(9.0) };
    let reason = told(&to_20k, &example_losses(3).1, OpenLevel::Controlled).words.reason;
    assert_eq!(reason.as_deref(), Some("20 kHz: the band was not measured"));
}

#[test]
fn weak_seats_are_named() {
    let of = |left_out: &[&str], in_doubt: &[&str]| {
        let ids = |ids: &[&str]| ids.iter().map(|id| (*id).to_owned()).collect::<Vec<_>>();
        let mut all = vec![told(&maximum(9.0), &example_losses(3).1, OpenLevel::Controlled).found];
        hold_to_seats(&mut all, &ids(left_out), &ids(in_doubt), 4);
        said(all.remove(0)).words
    };
    let end = " Of 4 seats seat A is left out; this holds for the others.";
    assert!(of(&["A"], &[]).sentence.ends_with(end));
    let end = " Of 4 seats seats A, B rest on doubtful takes.";
    assert!(of(&[], &["A", "B"]).sentence.ends_with(end));
    let few = of(&["A", "B"], &["C"]);
    let reason = "seats A, B are left out, seat C rests on doubtful takes, and 1 of 4 seats are too \
                  few to stand for the session";
    assert_eq!(few.reason.as_deref(), Some(reason));
    assert_eq!(few.sentence, format!("Nothing is shown: {reason}."));
}

#[test]
fn light_claims_are_told_in_plain_numbers() {
    let gain = claim("quantity = \"gain_on_axis\"\nminimum = 0.9");
    let words = |figure| said(judge_light(&gain, figure)).words;
    let sentence = words(Ok(LightFigure { value: 0.8, u: 0.001, dof: 5.0 })).sentence;
    assert_eq!(
        sentence,
        "Gain on the axis: 0.80 \u{b1} 0.00. Maker's limit: at least 0.9. Not kept (probability of \
         conformity below 0.1 %)."
    );
    let none = words(Err(NoLight::AtAngle { angle_deg: 30.0, largest_deg: 20.0 }));
    assert_eq!(
        none.reason.as_deref(),
        Some("no readings around 30 degrees (read up to 20 degrees)")
    );
    assert!(none.sentence.starts_with("Nothing is shown about the gain on the axis: no readings"));
    assert_eq!(unmeasured_sentence(&gain), "Gain on the axis. Maker's limit: at least 0.9.");
}
