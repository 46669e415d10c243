//! Intervals by hand, and sheets whose loss has a closed form.

use super::*;

fn manifest(session: &str, screen: &str) -> Manifest {
    let text = format!(
        "session = {{ title = \"Invented\" {session} }}\n\
         sweep = {{ file = \"sweep.wav\", start_hz = 20.0, stop_hz = 20000.0 }}\n\
         screen = {{ {screen} }}\n"
    );
    toml::from_str(&text).expect("valid")
}

#[test]
fn the_low_bands_bound_the_step() {
    let m = manifest("", "");
    let bounded = |higher_db, lower_db| OpenLevel::Bounded { higher_db, lower_db };
    assert_eq!(open_level(&m, Some(0.0), None), bounded(0.6, 0.0));
    assert_eq!(open_level(&m, Some(-0.1), None), bounded(0.6, 0.0));
    let OpenLevel::Bounded { higher_db, lower_db } = open_level(&m, Some(0.25), None) else {
        panic!("bounded")
    };
    assert!((higher_db - 0.35).abs() < 1e-12 && (lower_db - 0.25).abs() < 1e-12);
    assert_eq!(open_level(&m, Some(1.0), None), bounded(0.0, 1.0));
    assert_eq!(
        open_level(&m, Some(-2.0), None),
        OpenLevel::GainChanged { least_db: 2.0, most_db: 2.6 }
    );
    assert_eq!(open_level(&m, None, None), OpenLevel::Unknown);
}

#[test]
fn an_attest_holds_until_the_low_bands_contradict_it() {
    let m = manifest(", gain_untouched = true", "");
    assert_eq!(open_level(&m, Some(0.3), None), OpenLevel::Attested);
    assert_eq!(open_level(&m, None, None), OpenLevel::Attested);
    assert!(matches!(open_level(&m, Some(-0.2), None), OpenLevel::GainChanged { .. }));
    assert!(matches!(open_level(&m, Some(1.0), None), OpenLevel::Bounded { .. }));
}

#[test]
fn a_dense_stated_sheet_may_take_more() {
    // 20 lg(1 + 200 / (2 x 413.25)) = 1.88 dB at every frequency, and 0.48 dB of its own doubt.
    let dense = sheet_takes_at_most_db(&manifest("", "flow_resistance_pa_s_m = 200.0").screen);
    let loss_db = 20.0 * (1.0 + 200.0 / (2.0 * 413.25f64)).log10();
    assert!((dense - loss_db - 0.3f64.hypot(0.2 * loss_db)).abs() < 0.01, "{dense}");
    let thin = sheet_takes_at_most_db(&manifest("", "flow_resistance_pa_s_m = 20.0").screen);
    assert!((thin - 0.6).abs() < 1e-12, "{thin}");
}
