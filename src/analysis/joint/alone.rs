//! Taps without a front to go with them: what comes before the first echo, and takes whose echoes
//! are known already.

use super::fitter::{Fitter, ROWS_BEYOND_S};
use super::found::{Joint, SeatFit};
use super::front::N_TERMS;
use super::pair::Rows;
use super::reflector::{Reflector, clear_s};
use super::slow::slow_parts;
use super::spectrum::{Spectrum, echo_series};
use super::state::{Pair, Seat, State};
use super::stretch::N_STRETCHES;

/// Part of the rows from the crest on that a second fit goes without: where the loss hangs on the
/// last rows, they hold more than the direct sound.
const FEWER_ROWS: f64 = 0.25;

impl Fitter<'_> {
    /// Taps to `end_s` and slow parts alone, from the rows to `rows_end_s` of a pair whose
    /// echoes stand in `source`.
    fn alone(
        &self,
        pair: &Pair,
        source: &[f64],
        end_s: f64,
        rows_end_s: f64,
    ) -> Option<(Vec<f64>, Vec<f64>)> {
        let n_taps = self.n_taps(end_s);
        let mut taps = Rows {
            source,
            slow: &slow_parts(source, self.rate_hz),
            target: &pair.given.with,
            terms: &[],
            first: self.first_row(),
            weights: &self.row_weights(rows_end_s, |_| 1.0),
            first_lag: self.first_lag(),
            ridge: &self.ridge(self.first_lag(), n_taps, pair.energy),
        }
        .reduce(&[0.0; N_TERMS])?
        .taps_with(&[]);
        let slow = taps.split_off(n_taps);
        Some((taps, slow))
    }

    /// Taps alone, from what comes before the first echo.
    pub(super) fn start(&self, seat: &Seat) -> Option<State> {
        let timing = seat.given.timing;
        let end_s = clear_s(seat.given).min(timing.end_s);
        let cut_short = timing.round_trip_s.is_some() && end_s < timing.end_s;
        let rows_end_s = if cut_short { end_s } else { end_s + ROWS_BEYOND_S };
        let alone = |pair: &Pair| self.alone(pair, &pair.given.without, end_s, rows_end_s);
        let (taps, slow): (Vec<_>, Vec<_>) =
            seat.pairs.iter().map(alone).collect::<Option<Vec<_>>>()?.into_iter().unzip();
        let all_left: Vec<Vec<f64>> = seat
            .pairs
            .iter()
            .zip(taps.iter().zip(&slow))
            .map(|(pair, (taps, slow))| self.residual(&pair.given.without, pair, taps, slow))
            .collect();
        let mut state = State {
            taps,
            slow,
            left: self.left_power(&all_left),
            delay_s: 0.0,
            moved: vec![vec![0.0; N_STRETCHES]; seat.pairs.len()],
            apart: Vec::new(),
            reflector: None,
            echo: None,
        };
        state.delay_s = self.delay_s(seat, &state)?;
        Some(state)
    }

    /// Taps of one seat, with the echoes of `sheet` in the source; `fewer_rows` for a second fit
    /// that tells how far they hang on the last rows.
    pub(super) fn plain(
        &self,
        seat: &Seat,
        sheet: Option<&SeatFit>,
        known: &Joint,
        fewer_rows: bool,
    ) -> Option<SeatFit> {
        let end_s = seat.given.timing.end_s;
        let rows_end_s =
            if fewer_rows { (1.0 - FEWER_ROWS) * end_s } else { end_s + ROWS_BEYOND_S };
        let series = sheet.and_then(|sheet| {
            let ratio = sheet.ratio(&self.fft, self.df_hz(), known.front.as_ref())?;
            Some(echo_series(&ratio).collect::<Spectrum>())
        });
        let alone = |pair: &Pair| match &series {
            Some(series) => {
                let source = self.with_echoes(&pair.source, pair, series);
                self.alone(pair, &source, end_s, rows_end_s)
            }
            None => self.alone(pair, &pair.given.without, end_s, rows_end_s),
        };
        let (taps, slow): (Vec<_>, Vec<_>) =
            seat.pairs.iter().map(alone).collect::<Option<Vec<_>>>()?.into_iter().unzip();
        let reflector = match sheet {
            Some(sheet) => sheet.reflector.clone(),
            None => Reflector::new(seat.given, self.rate_hz, self.first_lag(), &taps, &slow, 0.0),
        };
        Some(SeatFit {
            first_lag: self.first_lag(),
            reflector,
            round_trip_s: sheet.and_then(|s| s.round_trip_s),
            taps,
            slow,
        })
    }
}
