use super::*;
use crate::analysis::sheet::choice::weigh_models;
use crate::analysis::sheet::fit::tests::measured;
use crate::analysis::sheet::models::{Gap, Hanging, Sheet};
use DisplayUnits::{Imperial, Metric};

fn weigh(front: Sheet, gap_m: Option<f64>, u_db: f64, seed: u64) -> Evidence {
    let gap = gap_m.map(|gap_m| Gap { gap_m, front_reflection: 0.6 });
    weigh_models(&measured(&Hanging { front, backing: None, gap }, &[1.0, 0.98, 0.95], u_db, seed))
}

const FILM: Sheet = Sheet::Limp { areal_mass_kg_m2: 0.06 };

#[test]
fn sentences_hold_the_numbers() {
    let text = evidence_statement(&weigh(FILM, Some(0.1), 0.05, 5), Metric).join(" ");
    assert!(text.contains("Areal mass: ") && text.contains("g/m²"), "{text}");
    assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
    assert!(!text.contains("The gap is not known"), "{text}");
    let text = evidence_statement(&weigh(FILM, None, 0.05, 5), Metric).join(" ");
    assert!(text.contains("The gap is not known"), "{text}");
}

#[test]
fn every_kind_has_its_verdict() {
    let found = weigh(FILM, None, 0.05, 5);
    let of_kind = |kind, nothing| {
        let evidence = Evidence { kind, nothing, ..found.clone() };
        evidence_statement(&evidence, Metric)
    };
    assert!(of_kind(LossKind::Untold, None)[0].contains("do not tell what kind"));
    assert!(!of_kind(LossKind::Untold, None).join(" ").contains("Areal mass"));
    let none = of_kind(LossKind::NoModelFits, None);
    assert!(none[0].contains(&format!("({}) misses it by", model_words(found.fits[0].kind))));
    assert!(of_kind(LossKind::Resistive, None)[0].contains("flow resistance"));
    assert!(of_kind(LossKind::Both, None)[0].contains("Friction and mass together"));
    for (why, words) in [(Nothing::TooFewBands, "Too few bands"), (Nothing::NoLoss, "Hardly any")] {
        let said = of_kind(LossKind::NothingToExplain, Some(why));
        assert!(said.len() == 1 && said[0].starts_with(words), "{said:?}");
    }
}

#[test]
fn a_parameter_has_one_unit_for_value_and_interval() {
    let flow = Parameter {
        quantity: Quantity::FlowResistance,
        value: Some(61.3),
        low: Some(55.8),
        high: Some(66.9),
    };
    let said = parameter_sentence(&flow, Metric).unwrap();
    assert_eq!(said, "Flow resistance: 61 Pa s/m (95 % interval 56 to 67).");
    let hole = |value, low, high| {
        let p = Parameter { quantity: Quantity::HoleDiameter, value, low, high };
        [Metric, Imperial].map(|units| parameter_sentence(&p, units).unwrap_or_default())
    };
    // 0.5 mm = 0.0197 in, 0.45 mm = 0.0177 in, 0.56 mm = 0.0220 in, 5 mm = 0.197 in.
    assert_eq!(
        hole(Some(0.5), Some(0.45), Some(0.56)),
        [
            "Hole diameter: 0.50 mm (95 % interval 0.45 to 0.56).",
            "Hole diameter: 0.020 in (95 % interval 0.018 to 0.022).",
        ]
    );
    assert_eq!(
        hole(None, Some(0.45), Some(5.0)),
        ["Hole diameter: between 0.450 and 5.00 mm.", "Hole diameter: between 0.018 and 0.2 in.",]
    );
    let at_most = ["Hole diameter: at most 0.450 mm.", "Hole diameter: at most 0.018 in."];
    assert_eq!(hole(None, None, Some(0.45)), at_most);
    assert_eq!(hole(None, None, None), ["", ""]);
    let corner = Parameter {
        quantity: Quantity::Corner,
        value: Some(8400.0),
        low: Some(8000.0),
        high: Some(8800.0),
    };
    let said = parameter_sentence(&corner, Imperial).unwrap();
    assert_eq!(said, "3 dB corner: 8.4 kHz (95 % interval 8.0 to 8.8).");
}

fn gap(stated_m: Option<f64>, found_m: Option<f64>, doubt: Option<GapDoubt>) -> GapFinding {
    let found = found_m.map(|gap_m| GapEstimate {
        gap_m,
        u95_m: 0.005,
        strength_db: 20.0,
        false_alarm: 1e-9,
        ripple_db: 1.0,
        front_reflection: 0.6,
        phase_lead_deg: 0.0,
        spacing_hz: 343.2 / 2.0 / gap_m,
    });
    GapFinding { stated_m, found, used_m: found_m.or(stated_m), doubt }
}

#[test]
fn the_gap_is_told_in_both_units() {
    // 80 mm = 3.15 in, 81 mm = 3.19 in, 5 mm = 0.197 in.
    let both = gap(Some(0.08), Some(0.0808), None);
    let agree = "Stated gap 80 mm, from the echoes 81 ± 5 mm: they agree.";
    assert_eq!(gap_sentence(&both, Metric), agree);
    let agree = "Stated gap 3.1 in, from the echoes 3.2 ± 0.2 in: they agree.";
    assert_eq!(gap_sentence(&both, Imperial), agree);
    assert_eq!(gap_warning(&both, Metric), None);
    assert!(gap_sentence(&gap(Some(0.08), None, None), Metric).contains("no echo stands out"));
    assert!(gap_sentence(&gap(None, None, None), Metric).starts_with("No gap is stated, and no"));
    assert!(gap_sentence(&gap(None, Some(0.1), None), Metric).contains("the sheet 100 ± 5 mm in"));
}

#[test]
fn a_doubtful_gap_is_warned_of() {
    let told = |g: &GapFinding, units| gap_warning(g, units).unwrap().message;
    let differs = gap(Some(0.15), Some(0.1), Some(GapDoubt::Differs));
    assert!(gap_sentence(&differs, Metric).ends_with("they do not agree."));
    assert_eq!(told(&differs, Metric), "The stated gap is 150 mm, the takes show 100 ± 5 mm.");
    assert_eq!(told(&differs, Imperial), "The stated gap is 5.9 in, the takes show 3.9 ± 0.2 in.");
    let open = gap(None, Some(0.1), Some(GapDoubt::NotStated));
    assert!(told(&open, Metric).starts_with("No gap is stated; the takes show 100 ± 5 mm"));
    assert_eq!(gap_warning(&open, Metric).unwrap().topic, Topic::Gap);
}

#[test]
fn what_no_model_describes_is_warned_of() {
    let evidence = Evidence { kind: LossKind::NoModelFits, ..weigh(FILM, None, 0.05, 5) };
    let finding = SheetFinding { evidence, stated: None, gap: gap(Some(0.08), None, None) };
    let told = warnings(&finding, Metric);
    assert_eq!((told.len(), told[0].topic), (1, Topic::Sheet));
    assert!(told[0].message.starts_with("None of the sheet models"), "{told:?}");
}

#[test]
fn the_document_has_findings_and_words_side_by_side() {
    let evidence = weigh(FILM, None, 0.05, 5);
    let finding = SheetFinding { evidence, stated: None, gap: gap(Some(0.08), None, None) };
    let json = serde_json::to_value(said(finding)).unwrap();
    assert_eq!(json["evidence"]["kind"], "mass_like");
    assert!(json["evidence"]["statement"][0].as_str().unwrap().contains("as that of a mass"));
    assert_eq!((&json["gap"]["used_m"], json["gap"].get("doubt")), (&0.08.into(), None));
    assert!(json["gap"]["statement"].as_str().unwrap().starts_with("Stated gap 80 mm"));
}
