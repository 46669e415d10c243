use super::super::models::Gap;
use super::*;
use crate::analysis::estimate::Estimate;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

/// A measured curve: a sheet's true band losses with scatter `u_db` per band and a level
/// error of the common uncertainty.
pub fn measured(hanging: &Hanging, cos_theta: &[f64], u_db: f64, seed: u64) -> FitInput {
    let bands = ThirdOctave::report_bands(20_000.0);
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let noise = Normal::new(0.0, u_db).unwrap();
    let level = 0.5 * noise.sample(&mut rng);
    let loss = mean_band_loss_db(hanging, &bands, cos_theta, &Air::AT_20_C)
        .into_iter()
        .map(|value_db| {
            Some(Estimate {
                value_db: value_db + level + noise.sample(&mut rng),
                u_db: u_db * 1.25f64.sqrt(),
                u_common_db: 0.5 * u_db,
                dof: 20.0,
                u95_db: 2.09 * u_db * 1.25f64.sqrt(),
            })
        })
        .collect();
    FitInput {
        bands,
        loss,
        cos_theta: cos_theta.to_vec(),
        gap_m: hanging.gap.map(|g| g.gap_m),
        gap_u_m: 0.001,
        air: Air::AT_20_C,
        from_hz: 490.0,
    }
}

const SEATS: [f64; 6] = [0.99, 1.0, 0.99, 0.95, 0.96, 0.95];

fn behind(front: Sheet, gap_m: f64) -> Hanging {
    Hanging { front, backing: None, gap: Some(Gap { gap_m, front_reflection: 0.7 }) }
}

fn parameter(fit: &ModelFit, quantity: Quantity) -> Parameter {
    *fit.parameters.iter().find(|p| p.quantity == quantity).unwrap()
}
/// One model alone, with the limits of its parameters.
fn fit_model(input: &FitInput, kind: ModelKind) -> Option<ModelFit> {
    let setup = Setup::new(input)?;
    let (mut fit, p) = best_fit(input, &setup, kind)?;
    bound_parameters(&setup, &mut fit, &p);
    Some(fit)
}

#[test]
fn recovers_the_areal_mass_within_ten_percent() {
    for (kg_m2, gap_m) in [(0.03, 0.08), (0.06, 0.2), (0.15, 0.05)] {
        for seed in 0..3 {
            let truth = behind(Sheet::Limp { areal_mass_kg_m2: kg_m2 }, gap_m);
            let input = measured(&truth, &SEATS, 0.05, seed);
            let fit = fit_model(&input, ModelKind::Mass).unwrap();
            let mass = parameter(&fit, Quantity::ArealMass);
            let got = mass.value.unwrap();
            assert!((got / (1e3 * kg_m2) - 1.0).abs() < 0.1, "{got} of {kg_m2} at {gap_m}");
            assert!(fit.p_value > 1e-3, "{fit:?}");
            let fc = 2.0 * 413.25 / (std::f64::consts::TAU * kg_m2);
            let corner = parameter(&fit, Quantity::Corner).value.unwrap();
            assert!((corner / fc - 1.0).abs() < 0.1, "{corner} of {fc}");
        }
    }
}

#[test]
fn intervals_hold_the_truth_nineteen_times_in_twenty() {
    let truth = behind(Sheet::Series { flow_resistance_pa_s_m: 60.0, areal_mass_kg_m2: 0.04 }, 0.1);
    let (mut inside, n) = ([0, 0], 60);
    for seed in 0..n {
        let input = measured(&truth, &SEATS, 0.2, 1000 + seed);
        let fit = fit_model(&input, ModelKind::Series).unwrap();
        for (i, (q, want)) in
            [(Quantity::FlowResistance, 60.0), (Quantity::ArealMass, 40.0)].iter().enumerate()
        {
            let p = parameter(&fit, *q);
            inside[i] += usize::from(p.low.unwrap() <= *want && *want <= p.high.unwrap());
        }
    }
    // 95 % of 60 is 57; fewer than 52 or an interval that is never missed in 120 would be odd.
    assert!(inside.iter().all(|&i| i >= 52), "{inside:?} of {n}");
    assert!(inside[0] + inside[1] < 120, "intervals too wide to ever miss");
}

#[test]
fn recovers_resistance_and_holes() {
    let weave = Hanging::alone(Sheet::Resistive { flow_resistance_pa_s_m: 80.0 });
    let fit = fit_model(&measured(&weave, &[1.0], 0.03, 7), ModelKind::Resistive).unwrap();
    let rs = parameter(&fit, Quantity::FlowResistance).value.unwrap();
    assert!((rs / 80.0 - 1.0).abs() < 0.1, "{rs}");
    assert_eq!(parameter(&fit, Quantity::Corner).value, None, "a weave has no corner");

    let holes = Sheet::EffectiveHoles { length_over_area_m: 0.014, radius_m: 1.5e-4 };
    let fit = fit_model(&measured(&Hanging::alone(holes), &[1.0], 0.02, 8), ModelKind::Holes);
    let length = parameter(&fit.unwrap(), Quantity::EffectiveLength).value.unwrap();
    assert!((length / 14.0 - 1.0).abs() < 0.1, "{length}");
}

#[test]
fn what_the_data_cannot_fix_gets_a_limit_not_a_value() {
    // A film without friction: the flow resistance is only bounded from above.
    let film = Hanging::alone(Sheet::Limp { areal_mass_kg_m2: 0.05 });
    let fit = fit_model(&measured(&film, &[1.0], 0.05, 11), ModelKind::Series).unwrap();
    let rs = parameter(&fit, Quantity::FlowResistance);
    assert_eq!(rs.low, None, "{rs:?}");
    assert!(rs.high.unwrap() < 40.0, "{rs:?}");
}

#[test]
fn too_few_bands_give_no_fit() {
    let film = Hanging::alone(Sheet::Limp { areal_mass_kg_m2: 0.05 });
    let mut input = measured(&film, &[1.0], 0.05, 1);
    for loss in input.loss.iter_mut().skip(14) {
        *loss = None;
    }
    assert_eq!(fit_model(&input, ModelKind::Mass), None);
    let mut spoiled = measured(&film, &[1.0], 0.05, 1);
    if let Some(Some(loss)) = spoiled.loss.get_mut(15) {
        loss.value_db = f64::NAN;
    }
    let fit = fit_model(&spoiled, ModelKind::Mass).unwrap();
    assert!(fit.chi2.is_finite() && fit.dof == 14, "{fit:?}");
}
