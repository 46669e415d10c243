//! Time of the equaliser fit for six seats: `cargo bench -p scrimcheck-benches --bench correction`.
//!
//! The losses come from a simulated session, measured once before the clock runs.

use criterion::{Criterion, criterion_group, criterion_main};
use scrimcheck::analysis::correction::fit_correction;
use scrimcheck::analysis::loss::{LossTable, losses};
use scrimcheck::ingest::manifest::CorrectionLimits;
use scrimcheck::simulate::memory::InMemory;
use scrimcheck::simulate::{Kind, Scenario, simulate};
use scrimcheck::transfer::measure::measure;
use std::hint::black_box;

/// Losses of six seats.
fn measured(kind: Kind) -> LossTable {
    let scenario = Scenario::random(kind, 9001).shortened(2.0, 0.3);
    assert_eq!(scenario.seats.len(), 6);
    let memory = InMemory::new(simulate(&scenario)).expect("the simulated manifest parses");
    let session = &memory.session;
    let gap_m = session.manifest.screen.gap_m;
    let transfers = measure(session, &|i| Ok(memory.recording(i)), gap_m, &|| ())
        .expect("simulated takes are whole");
    losses(&session.manifest, &transfers, &transfers.seats).0
}

fn fits(c: &mut Criterion) {
    let coarse = CorrectionLimits {
        gain_step_db: 1.0,
        frequency_step: scrimcheck::ingest::manifest::FrequencyStep::Iso3,
        ..CorrectionLimits::default()
    };
    let mut group = c.benchmark_group("correction");
    group.sample_size(20);
    for (name, kind) in [("woven", Kind::Woven), ("perforated", Kind::Perforated)] {
        let table = measured(kind);
        for (steps, limits) in
            [("fine steps", CorrectionLimits::default()), ("1 dB, thirds", coarse.clone())]
        {
            group.bench_function(format!("{name}, six seats, {steps}"), |b| {
                b.iter(|| fit_correction(black_box(&table), &limits));
            });
        }
    }
    group.finish();
}

criterion_group!(benches, fits);
criterion_main!(benches);
