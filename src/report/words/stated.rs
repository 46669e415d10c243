//! Measured against stated sheet data, and described sheets, in words.

use super::said::Said;
use crate::analysis::predict::describe::DescribedSheet;
use crate::analysis::sheet::models::Sheet;
use crate::analysis::sheet::perforated::Perforation;
use crate::analysis::sheet::stated::{
    Assumed, PORES_SHOW_DB, StatedComparison, StatedSheet, prediction_u95_db,
};
use crate::ingest::manifest::DisplayUnits;
use crate::words::{Digits, frequency_words, key_words, millimetres, three_digits};
use serde::Serialize;

/// The stated sheet with its words, and the comparison in sentences.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StatedWords {
    /// The stated sheet.
    pub stated: StatedSheetWords,
    /// The comparison in words.
    pub statement: Vec<String>,
}

/// A sheet built from stated data, with its words.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StatedSheetWords {
    /// The model.
    pub sheet: Sheet,
    /// What it rests on: "these holes (0.5 mm, ...)".
    pub words: String,
    /// What had to be assumed.
    pub assumed: Vec<String>,
}

/// The comparison with what is said of it.
pub fn said(
    comparison: StatedComparison,
    units: DisplayUnits,
) -> Said<StatedComparison, StatedWords> {
    let StatedSheet { sheet, assumed } = comparison.stated;
    let stated = StatedSheetWords {
        sheet,
        words: sheet_words(&sheet, units),
        assumed: assumed.map(assumed_words).into_iter().collect(),
    };
    let words = StatedWords { stated, statement: statement(&comparison, units) };
    Said { found: comparison, words }
}

/// The comparison in sentences: at one band, over all, and what it allows for or assumes.
pub fn statement(comparison: &StatedComparison, units: DisplayUnits) -> Vec<String> {
    let c = comparison;
    let mut out = vec![format!(
        "A sheet with {} should lose {} at {}; measured {:.1} ± {:.1} dB{}.",
        sheet_words(&c.stated.sheet, units),
        range_words(c.expected_at_db, c.pores_at_db),
        frequency_words(c.at_nominal_hz),
        c.measured_at_db,
        c.u95_at_db.max(0.1),
        if c.without_echoes { ", without the echoes in the gap" } else { "" },
    )];
    match &c.worst {
        None => out.push(
            "Over all bands the measured loss is what the stated data lead one to expect.".into(),
        ),
        Some(row) => out.push(format!(
            "The largest difference is at {}: expected {} (good to {:.1} dB), measured {:.1} ± \
             {:.1} dB, {}.",
            frequency_words(row.band.nominal_hz()),
            range_words(row.expected_db, row.pores_db),
            prediction_u95_db(row.expected_db),
            row.measured_db,
            row.u95_db.max(0.1),
            if row.measured_db > row.expected_db {
                "more than the stated data explain: a coating, a backing cloth or smaller holes \
                 would do that"
            } else {
                "less than the stated data would take"
            }
        )),
    }
    if c.pores_show {
        out.push(
            "The range allows for the inertia of the air in the weave, which no data sheet \
             states."
                .into(),
        );
    }
    out.extend(c.stated.assumed.map(|assumed| format!("Assumed: {}.", assumed_words(assumed))));
    out
}

fn range_words(expected_db: f64, pores_db: f64) -> String {
    if pores_db < PORES_SHOW_DB {
        format!("{expected_db:.1} dB")
    } else {
        format!("{expected_db:.1} to {:.1} dB", expected_db + pores_db)
    }
}

fn assumed_words(assumed: Assumed) -> String {
    match assumed {
        Assumed::SquareLattice => "a square lattice".into(),
        Assumed::OpenArea { percent } => format!(
            "the stated open area ({} %), which does not go with the stated pitch",
            three_digits(percent)
        ),
        Assumed::StillCloth => "the cloth does not move".into(),
    }
}

/// What a stated sheet rests on.
fn sheet_words(sheet: &Sheet, units: DisplayUnits) -> String {
    match *sheet {
        Sheet::Perforated(holes) | Sheet::PerforatedLimp { holes, .. } => format!(
            "these holes ({} across, {} apart, {} thick, {:.1} % open)",
            millimetres(thousandths(holes.hole_m), Digits::All, units),
            millimetres(thousandths(holes.pitch_m), Digits::Three, units),
            millimetres(thousandths(holes.thickness_m), Digits::All, units),
            100.0 * holes.open_area()
        ),
        Sheet::Resistive { flow_resistance_pa_s_m } => {
            format!("this flow resistance ({flow_resistance_pa_s_m} Pa s/m)")
        }
        Sheet::Parallel { flow_resistance_pa_s_m, areal_mass_kg_m2 } => format!(
            "this flow resistance and mass ({flow_resistance_pa_s_m} Pa s/m, {})",
            mass_words(areal_mass_kg_m2)
        ),
        Sheet::Limp { .. } | Sheet::Series { .. } | Sheet::EffectiveHoles { .. } => {
            "these data".into()
        }
    }
}

/// A described sheet and what hangs behind it.
pub fn described_words(described: &DescribedSheet) -> String {
    let front = match described.front {
        Sheet::Perforated(holes) => holes_words(&holes),
        Sheet::PerforatedLimp { holes, areal_mass_kg_m2 } => {
            format!("{}, {}", holes_words(&holes), mass_words(areal_mass_kg_m2))
        }
        Sheet::Limp { areal_mass_kg_m2 } => {
            format!("film without holes, {}", mass_words(areal_mass_kg_m2))
        }
        ref cloth => format!("woven, {}", cloth_words(cloth)),
    };
    let behind = described.backing.map_or(String::new(), |(cloth, air_m)| {
        format!("; behind it, {} mm away, cloth of {}", thousandths(air_m), cloth_words(&cloth))
    });
    front + &behind
}

fn holes_words(holes: &Perforation) -> String {
    let lattice = key_words(&holes.lattice);
    format!(
        "holes {} mm, pitch {} mm, {lattice}, {:.1} % open, {} mm thick",
        thousandths(holes.hole_m),
        three_digits(thousandths(holes.pitch_m)),
        100.0 * holes.open_area(),
        thousandths(holes.thickness_m)
    )
}

fn cloth_words(cloth: &Sheet) -> String {
    match *cloth {
        Sheet::Resistive { flow_resistance_pa_s_m } => {
            format!("{} Pa s/m", three_digits(flow_resistance_pa_s_m))
        }
        Sheet::Parallel { flow_resistance_pa_s_m, areal_mass_kg_m2 }
        | Sheet::Series { flow_resistance_pa_s_m, areal_mass_kg_m2 } => format!(
            "{} Pa s/m and {}",
            three_digits(flow_resistance_pa_s_m),
            mass_words(areal_mass_kg_m2)
        ),
        Sheet::Limp { areal_mass_kg_m2 } => mass_words(areal_mass_kg_m2),
        Sheet::Perforated(_) | Sheet::PerforatedLimp { .. } | Sheet::EffectiveHoles { .. } => {
            "holes".into()
        }
    }
}

fn mass_words(areal_mass_kg_m2: f64) -> String {
    format!("{} g/m²", three_digits(thousandths(areal_mass_kg_m2)))
}

/// Thousandths (mm of m, g of kg) as they were stated, without the last bits of the arithmetic.
fn thousandths(value: f64) -> f64 {
    (1e12 * value).round() / 1e9
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::predict::describe::Description;
    use crate::analysis::sheet::fit::tests::measured;
    use crate::analysis::sheet::models::Hanging;
    use crate::analysis::sheet::stated::{compare_stated, stated_sheet};
    use DisplayUnits::{Imperial, Metric};

    const HOLES: &str = "hole_diameter_mm = 1.6764\nhole_pitch_mm = 3.175\n\
                         thickness_mm = 1.5875\nopen_area_percent = 25.28";

    /// A sheet against a measured one that loses so much more.
    fn compared(screen: &str, more_db: f64) -> StatedComparison {
        let stated = stated_sheet(&toml::from_str(screen).unwrap()).unwrap();
        let mut input = measured(&Hanging::alone(stated.sheet), &[1.0], 0.05, 1);
        for loss in input.loss.iter_mut().flatten() {
            loss.value_db += more_db;
        }
        compare_stated(stated, &input, None).unwrap()
    }

    #[test]
    fn as_stated_and_not_as_stated() {
        let same = statement(&compared(HOLES, 0.0), Metric);
        let start = "A sheet with these holes (1.6764 mm across, 3.18 mm apart, 1.5875 mm thick, \
                     25.3 % open) should lose 3.0 dB at 10 kHz; measured ";
        assert!(same[0].starts_with(start), "{same:?}");
        assert!(same[1].starts_with("Over all bands"), "{same:?}");
        let more = statement(&compared(HOLES, 1.5), Metric);
        assert!(more[1].contains("more than the stated data explain"), "{more:?}");
        let less = statement(&compared(HOLES, -1.5), Metric);
        assert!(less[1].contains("less than the stated data would take"), "{less:?}");
        // 1.6764 mm = 0.066 in, 3.18 mm = 0.1252 in, 1.5875 mm = 0.0625 in.
        let imperial = statement(&compared(HOLES, 0.0), Imperial);
        assert!(
            imperial[0].contains("(0.066 in across, 0.1 in apart, 0.062 in thick"),
            "{imperial:?}"
        );
    }

    #[test]
    fn what_was_assumed_is_told() {
        let told = |screen: &str| statement(&compared(screen, 0.0), Metric).join(" ");
        let cloth = told("flow_resistance_pa_s_m = 60.0");
        assert!(cloth.contains("with this flow resistance (60 Pa s/m) should"), "{cloth}");
        assert!(cloth.contains("The range allows for the inertia of the air"), "{cloth}");
        assert!(cloth.ends_with("Assumed: the cloth does not move."), "{cloth}");
        let cloth = told("flow_resistance_pa_s_m = 60.0\nareal_mass_g_m2 = 280");
        assert!(cloth.contains("resistance and mass (60 Pa s/m, 280 g/m²)"), "{cloth}");
        assert!(!cloth.contains("Assumed"), "{cloth}");
        let holes = "hole_diameter_mm = 0.5\nthickness_mm = 0.3\nhole_pitch_mm = 2.0";
        assert!(told(holes).ends_with("Assumed: a square lattice."));
        let odd = told(&format!("{holes}\nopen_area_percent = 12.0"));
        assert!(odd.ends_with("open area (12.0 %), which does not go with the stated pitch."));
    }

    #[test]
    fn the_document_keeps_sheet_and_words_together() {
        let json = serde_json::to_value(said(compared(HOLES, 0.0), Metric)).unwrap();
        assert_eq!(json["stated"]["sheet"]["model"], "perforated");
        assert!(json["stated"]["words"].as_str().unwrap().starts_with("these holes (1.6764 mm"));
        assert_eq!(json["stated"]["assumed"], serde_json::json!([]));
        assert_eq!(json["agrees"], true);
    }

    #[test]
    fn described_sheets_read_as_they_were_typed() {
        for (text, words) in [
            (
                "hole_diameter_mm=0.5,hole_pitch_mm=1.9817,thickness_mm=0.3,lattice=staggered",
                "holes 0.5 mm, pitch 1.98 mm, staggered, 5.8 % open, 0.3 mm thick",
            ),
            (
                "hole_diameter_mm=0.5,hole_pitch_mm=2,thickness_mm=0.3,areal_mass_g_m2=345.6",
                "holes 0.5 mm, pitch 2.00 mm, square, 4.9 % open, 0.3 mm thick, 346 g/m²",
            ),
            ("areal_mass_g_m2=300", "film without holes, 300 g/m²"),
            (
                "flow_resistance_pa_s_m=40,areal_mass_g_m2=200.5,backing_flow_resistance_pa_s_m=20,\
                 backing_air_mm=5.1",
                "woven, 40.0 Pa s/m and 201 g/m²; behind it, 5.1 mm away, cloth of 20.0 Pa s/m",
            ),
        ] {
            let sheet = Description::parse(&format!("x:{text}")).unwrap().build().unwrap();
            assert_eq!(described_words(&sheet), words);
        }
    }
}
