use super::*;

pub(crate) fn entry(name: &str, loss: f64, u: f64) -> Summary {
    let n = 4;
    Summary {
        name: name.into(),
        origin: Origin::Measured,
        bands_hz: vec![400.0, 1000.0, 2000.0, 4000.0],
        loss_db: vec![Some(9.0), Some(loss), Some(loss), Some(loss)],
        u95_db: vec![Some(u); n],
        sd_db: vec![Some(0.3); n],
        n_seats: 6,
        claims: Some([1, 2]),
        gain: None,
        headroom: Headroom { amplifier_db: Some(3.0), driver_db: Some(-0.5) },
    }
}

#[test]
fn the_largest_loss_is_that_of_the_common_bands() {
    let mut a = entry("a", 2.0, 0.2);
    a.loss_db[2] = Some(3.5);
    let c = compare(vec![a, entry("b", 2.0, 0.2)]).unwrap();
    let largest = c.entries[0].largest_loss.unwrap();
    assert_eq!((largest.nominal_hz, largest.loss_db.value), (2000.0, 3.5), "400 Hz does not count");
}

fn ranks(summaries: Vec<Summary>) -> Vec<usize> {
    compare(summaries).unwrap().entries.iter().map(|e| e.loss_rank).collect()
}

#[test]
fn ranks_only_what_u_lets_it() {
    // Differences 0.3 and 0.27 against U sqrt(2) x 0.2 = 0.283.
    assert_eq!(ranks(vec![entry("a", 2.0, 0.2), entry("b", 2.3, 0.2)]), [1, 2]);
    assert_eq!(ranks(vec![entry("a", 2.0, 0.2), entry("b", 2.27, 0.2)]), [1, 1]);
    // Not transitive: a and b, b and c cannot be told apart, a and c can.
    let three = vec![entry("a", 2.0, 0.2), entry("b", 2.2, 0.2), entry("c", 2.4, 0.2)];
    let c = compare(three).unwrap();
    assert_eq!(c.entries.iter().map(|e| e.loss_rank).collect::<Vec<_>>(), [1, 1, 2]);
    assert_eq!(c.pairs.iter().map(|p| p.shown).collect::<Vec<_>>(), [false, true, false]);
    assert!((c.pairs[1].u95_db.unwrap() - 0.2 * 2f64.sqrt()).abs() < 1e-12);
}

#[test]
fn without_uncertainty_nothing_is_shown() {
    let mut b = entry("b", 9.0, 0.1);
    b.u95_db = vec![None; 4];
    assert_eq!(ranks(vec![entry("a", 2.0, 0.1), b.clone()]), [1, 1]);
    b.u95_db = vec![Some(f64::NAN); 4];
    assert_eq!(ranks(vec![entry("a", 2.0, 0.1), b]), [1, 1]);
}

#[test]
fn only_common_bands_count() {
    let mut b = entry("b", 2.0, 0.1);
    b.loss_db[3] = None;
    let c = compare(vec![entry("a", 2.0, 0.1), b.clone()]).unwrap();
    assert_eq!(c.common_bands_hz, [1000.0, 2000.0]);
    assert!((c.entries[0].mean_loss_db.value - 2.0).abs() < 1e-12, "400 Hz does not count");
    b.loss_db = vec![Some(f64::NAN); 4];
    assert_eq!(compare(vec![entry("a", 2.0, 0.1), b]), Err(CompareError::NoCommonBand));
    assert_eq!(compare(vec![entry("a", 2.0, 0.1)]), Err(CompareError::TooFew { found: 1 }));
}

#[test]
fn power_follows_the_loss() {
    // 3.0103 dB cost a factor 2 (10^(G/10)).
    let half = 10.0 * 2f64.log10();
    let c = compare(vec![entry("a", half, 0.1), entry("b", 0.0, 0.1)]).unwrap();
    assert!((c.entries[0].power_factor.value - 2.0).abs() < 1e-12);
    assert!((c.entries[1].power_factor.value - 1.0).abs() < 1e-12);
    assert!((c.entries[1].power_factor.u95.unwrap() - 0.023_026).abs() < 1e-6);
}

#[test]
fn claims_are_ranked_by_the_share_kept() {
    let mut b = entry("b", 2.0, 0.1);
    b.claims = Some([2, 2]);
    let mut c = entry("c", 2.0, 0.1);
    c.claims = None;
    let all = compare(vec![entry("a", 2.0, 0.1), b, c]).unwrap();
    let ranks: Vec<_> = all.entries.iter().map(|e| e.claims_rank).collect();
    assert_eq!(ranks, [Some(2), Some(1), None]);
}

#[test]
fn a_result_document_is_read_by_its_keys() {
    let mut result = serde_json::json!({
        "format": "scrimcheck-result",
        "bands": [{"nominal_hz": 1000.0}, {"nominal_hz": 2000.0}],
        "mean": {"loss_db": [1.0, null], "u95_db": [0.1, null], "sd_db": [0.2, null]},
        "seats": [{}, {}],
        "claims": [{"verdict": "pass"}, {"verdict": "conditional_pass"}],
        "picture": {"light": {"gain": {"on_axis": {"value": 0.96, "u95": 0.02}}}},
    });
    let s = Summary::from_result("x", &result).unwrap();
    assert_eq!(s.loss_db, [Some(1.0), None]);
    assert_eq!((s.claims, s.n_seats), (Some([1, 2]), 2));
    assert_eq!(s.gain, Some(Rated { value: 0.96, u95: Some(0.02) }));
    result["picture"] = Value::Null;
    assert_eq!(Summary::from_result("x", &result).unwrap().gain, None);
    result["mean"]["u95_db"] = serde_json::json!([0.1]);
    let error = Summary::from_result("x", &result).unwrap_err().to_string();
    assert!(error.contains("x:") && error.contains("mean.u95_db"), "{error}");
    let error = Summary::from_result("y", &serde_json::json!({})).unwrap_err().to_string();
    assert!(error.contains("format"), "{error}");
}
