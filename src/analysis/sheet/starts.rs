//! Where a fit starts.

use super::kinds::ModelKind;
use super::solve::Setup;
use nalgebra::DVector;
use std::f64::consts::TAU;

/// Where to start, in logarithms: from the level at the low and the high end of the curve.
pub(super) fn starts(setup: &Setup, kind: ModelKind) -> Vec<DVector<f64>> {
    let two_z0 = 2.0 * setup.air.impedance_pa_s_m();
    let n = setup.measured_db.len();
    let low = setup.measured_db[..3].iter().sum::<f64>() / 3.0;
    let high = setup.measured_db[n - 3..].iter().sum::<f64>() / 3.0;
    let rs = |db: f64| two_z0 * (10f64.powf(db.max(0.02) / 20.0) - 1.0);
    let w = TAU * setup.bands[n - 2].exact_hz();
    let m_g = 1e3 * two_z0 * (10f64.powf(high.max(0.02) / 10.0) - 1.0).sqrt() / w;
    let l_mm = m_g / setup.air.density_kg_m3;
    let middle = 0.5 * (low + high);
    let points: Vec<Vec<f64>> = match kind {
        ModelKind::Resistive => vec![vec![rs(middle)]],
        ModelKind::Mass => vec![vec![m_g]],
        ModelKind::Series => vec![vec![rs(low), m_g], vec![rs(middle), 0.2 * m_g]],
        ModelKind::Parallel => vec![vec![rs(high), 500.0], vec![rs(high), 50.0], vec![1e3, m_g]],
        ModelKind::Holes => vec![vec![l_mm, 0.2], vec![l_mm, 1.0], vec![0.5 * l_mm, 0.08]],
    };
    points
        .into_iter()
        .map(|point| {
            let mut p = DVector::zeros(point.len() + setup.n_nuisance());
            for (i, x) in point.iter().enumerate() {
                p[i] = x.ln();
            }
            p
        })
        .collect()
}
