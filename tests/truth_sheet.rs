//! Kind of loss and areal mass from whole simulated sessions: the chain from recordings to the
//! fitted sheet against the sheet that the simulation hung up. Simulation and fit share no code.

use scrimcheck::analysis::loss::losses;
use scrimcheck::analysis::sheet::choice::LossKind;
use scrimcheck::analysis::sheet::finding::SheetFinding;
use scrimcheck::analysis::sheet::kinds::{ModelKind, Quantity};
use scrimcheck::chain::{explain, find_gap};
use scrimcheck::simulate::memory::InMemory;
use scrimcheck::simulate::random::Kind;
use scrimcheck::simulate::scenario::Scenario;
use scrimcheck::simulate::session::simulate;
use scrimcheck::simulate::sheet::Sheet;
use scrimcheck::transfer::measure::measure;

/// A random room and loudspeaker with this sheet and gap.
fn find(sheet: Sheet, gap_m: f64, seed: u64) -> SheetFinding {
    let mut scenario = Scenario::random(Kind::Woven, seed).shortened(1.0, 0.3);
    scenario.sheet = sheet;
    scenario.gap_m = gap_m;
    scenario.stated_gap_m = Some(gap_m + 0.001);
    let memory = InMemory::new(simulate(&scenario)).unwrap();
    let session = &memory.session;
    let read = |take: usize| Ok(memory.recording(take));
    let stated = session.manifest.screen.gap_m;
    let transfers = measure(session, &read, stated, &|| ()).unwrap();
    let gap = find_gap(&session.manifest, &transfers);
    let (table, _) = losses(&session.manifest, &transfers, &transfers.seats);
    explain(&session.manifest, &transfers, &table, gap.as_ref())
}

fn value(finding: &SheetFinding, kind: ModelKind, quantity: Quantity) -> f64 {
    let fit = finding.evidence.fits.iter().find(|f| f.kind == kind).unwrap();
    fit.parameters.iter().find(|p| p.quantity == quantity).and_then(|p| p.value).unwrap_or(f64::NAN)
}

#[test]
fn areal_mass_of_a_film_within_ten_percent() {
    for (kg_m2, gap_m, seed) in [(0.02, 0.08, 1), (0.04, 0.15, 2)] {
        let film = Sheet::FabricSeries { flow_resistance_pa_s_m: 0.0, areal_mass_kg_m2: kg_m2 };
        let finding = find(film, gap_m, seed);
        let mass = value(&finding, ModelKind::Mass, Quantity::ArealMass);
        assert!((mass / (1e3 * kg_m2) - 1.0).abs() < 0.1, "{mass} g/m² of {kg_m2} kg/m²");
        let kind = finding.evidence.kind;
        assert!(
            matches!(kind, LossKind::MassLike | LossKind::NoModelFits),
            "{kind:?}: {:?}",
            finding.evidence
        );
    }
}

#[test]
fn friction_and_mass_of_a_cloth_are_told_apart() {
    let cloth = Sheet::FabricSeries { flow_resistance_pa_s_m: 90.0, areal_mass_kg_m2: 0.008 };
    let finding = find(cloth, 0.1, 3);
    let mass = value(&finding, ModelKind::Series, Quantity::ArealMass);
    let rs = value(&finding, ModelKind::Series, Quantity::FlowResistance);
    assert!((mass / 8.0 - 1.0).abs() < 0.1, "{mass} g/m² of 8");
    assert!((rs / 90.0 - 1.0).abs() < 0.15, "{rs} Pa s/m of 90");
    assert_ne!(finding.evidence.kind, LossKind::MassLike);
    assert_ne!(finding.evidence.kind, LossKind::Resistive);
    let found = finding.gap.found.map_or(f64::NAN, |g| g.gap_m);
    assert!((found / 0.1 - 1.0).abs() < 0.05, "gap {found} m of 0.1 m");
}
