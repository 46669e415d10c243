//! Gauss-Newton steps: all seats' taps and the front's terms at once.

use super::fitter::{Fitter, ROW_ERROR};
use super::found::{Assumption, Joint, SeatFit};
use super::front::{Front, N_TERMS, expected};
use super::late::{apart_sd, apart_sd_at_first};
use super::reflector::Reflector;
use super::slow::SLOW_S;
use super::state::{LEFT_WEIGHT, Look, Pair, Seat, Solved, State};
use super::stretch::N_STRETCHES;
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

/// Gauss-Newton steps while the late sound may differ in any way ...
const FREE_STEPS: usize = 3;
/// ... and after that, while it may differ as far as all pairs have shown.
const HELD_STEPS: usize = 3;
/// [`LEFT_WEIGHT`] in one more step, which tells how far the loss hangs on rows with reflections.
const OTHER_LEFT_WEIGHT: f64 = 1.0;

/// Standard deviation of a front's terms where there is to be none.
const NO_FRONT_SD: f64 = 1e-6;

/// What a step expects before it looks at the rows.
struct Expects {
    /// Whether a gap places the echoes.
    placed: bool,
    /// Mean and standard deviation of the front's terms.
    of_front: [[f64; 2]; N_TERMS],
    /// Standard deviation of the filters on the late sound, stretch by stretch.
    of_late: [f64; N_STRETCHES],
    /// See [`LEFT_WEIGHT`].
    left_weight: f64,
}

impl Expects {
    fn at_first(placed: bool) -> Self {
        let of_front = if placed { expected() } else { [[0.0, NO_FRONT_SD]; N_TERMS] };
        Self { placed, of_front, of_late: apart_sd_at_first(), left_weight: LEFT_WEIGHT }
    }
}

impl Fitter<'_> {
    /// Sheet and front of all seats; `None` where nothing can be fitted.
    pub(super) fn run(&self) -> Option<Joint> {
        let mut states =
            self.seats.par_iter().map(|seat| self.start(seat)).collect::<Option<Vec<_>>>()?;
        // Without a gap nothing places the echoes: no front then, and else the same steps.
        let placed = self.seats.iter().any(|s| s.given.timing.round_trip_s.is_some());
        let mut expects = Expects::at_first(placed);
        let mut front = Front {
            weights: expects.of_front.map(|[mean, _]| mean),
            covariance: DMatrix::zeros(N_TERMS, N_TERMS),
            lag_factor: if placed { self.find_lag(&states) } else { 1.0 },
        };
        let echoes = self.seats.par_iter().zip(&mut states);
        echoes.for_each(|(seat, state)| state.echo = Some(self.echo(seat, state, &front)));
        for _ in 0..FREE_STEPS {
            self.step(&mut states, &mut front, &mut expects)?;
        }
        let joint = |states: &[State], front: &Front| self.joint(states, placed.then_some(front));
        let mut others = vec![(Assumption::FreeRoom, joint(&states, &front))];
        for _ in 0..HELD_STEPS {
            expects.of_late = apart_sd(&states);
            self.step(&mut states, &mut front, &mut expects)?;
        }
        let found = joint(&states, &front);
        expects.of_late = apart_sd(&states);
        expects.left_weight = OTHER_LEFT_WEIGHT;
        // A step that fails tells nothing; what was found stays.
        if self.step(&mut states, &mut front, &mut expects).is_some() {
            others.push((Assumption::RoomCountsMore, joint(&states, &front)));
        }
        Some(Joint { others, ..found })
    }

    /// What is known in a state.
    fn joint(&self, states: &[State], front: Option<&Front>) -> Joint {
        let factor = front.map_or(1.0, |f| f.lag_factor);
        let seats = self
            .seats
            .iter()
            .zip(states)
            .map(|(seat, state)| SeatFit {
                reflector: self.reflector(seat, state),
                first_lag: self.first_lag(),
                taps: state.taps.clone(),
                slow: state.slow.clone(),
                round_trip_s: seat.given.timing.round_trip_s.map(|t| t * factor),
            })
            .collect();
        Joint { front: front.cloned(), seats, others: Vec::new() }
    }

    /// One Gauss-Newton step for all taps and the front, and what the next one expects of that.
    fn step(
        &self,
        states: &mut Vec<State>,
        front: &mut Front,
        expects: &mut Expects,
    ) -> Option<()> {
        let solved: Vec<Vec<Solved>> = self
            .seats
            .par_iter()
            .zip(states.par_iter())
            .map(|(seat, state)| self.solve(seat, state, front, expects))
            .collect::<Option<_>>()?;
        let mut normal = DMatrix::zeros(N_TERMS, N_TERMS);
        let mut target = DVector::zeros(N_TERMS);
        for (seat, pairs) in self.seats.iter().zip(&solved) {
            for (pair, Solved { reduced, .. }) in seat.pairs.iter().zip(pairs) {
                let scale = ROW_ERROR * pair.energy;
                normal += &reduced.normal / scale;
                target += &reduced.target / scale;
            }
        }
        for (i, [mean, sd]) in expects.of_front.iter().enumerate() {
            normal[(i, i)] += 1.0 / sd.powi(2);
            target[i] += mean / sd.powi(2);
        }
        let solver = normal.cholesky()?;
        let found = solver.solve(&target);
        front.weights.copy_from_slice(found.as_slice());
        front.covariance = solver.inverse();
        let shared = self.reflector_of_all(&solved, front)?;
        let next: Vec<State> = self
            .seats
            .par_iter()
            .zip(states.par_iter())
            .zip(&solved)
            .map(|((seat, state), pairs)| self.update(seat, state, pairs, front, &shared))
            .collect::<Option<_>>()?;
        *states = next;
        if expects.placed {
            expects.of_front = front.expected_next();
        }
        Some(())
    }

    /// The pairs of a seat, solved for their taps as far as the front is known.
    fn solve(
        &self,
        seat: &Seat,
        state: &State,
        front: &Front,
        expects: &Expects,
    ) -> Option<Vec<Solved>> {
        let echo = state.echo.as_ref()?;
        let one = |(pair, moved): (&Pair, &Vec<f64>)| {
            let source = self.moved_source(pair, moved);
            let columns = self.all_terms(&source, pair, &echo.derivative);
            let late = self.late(pair, state, moved);
            let with_echoes = self.with_echoes(&source, pair, &echo.series);
            let look = Look {
                state,
                pair,
                apart_sd: &expects.of_late,
                left_weight: expects.left_weight,
                late: &late,
            };
            let (trip_s, around) = (echo.round_trip_s, &front.weights);
            let reduced = self.reduce(&look, &with_echoes, trip_s, &columns, around)?;
            Some(Solved { reduced, source, late })
        };
        seat.pairs.iter().zip(&state.moved).map(one).collect()
    }

    /// What sends the echoes back is the sheet as all seats see it: what one seat has of its own
    /// (threads that scatter towards it) the loudspeaker does not see.
    fn reflector_of_all(&self, solved: &[Vec<Solved>], front: &Front) -> Option<Reflector> {
        let seats = self.seats.par_iter().zip(solved);
        let own: Vec<Reflector> = seats
            .map(|(seat, pairs)| {
                let mut next = self.taps_of(pairs, front);
                next.delay_s = self.delay_s(seat, &next)?;
                Some(self.reflector(seat, &next))
            })
            .collect::<Option<_>>()?;
        Reflector::middle(&own)
    }

    /// Taps of a seat's pairs with a front.
    fn taps_of(&self, pairs: &[Solved], front: &Front) -> State {
        let mut next = State::default();
        for Solved { reduced, late, .. } in pairs {
            let mut taps = reduced.taps_with(&front.weights);
            next.apart.push(taps.split_off(taps.len() - late.len()));
            next.slow.push(taps.split_off(taps.len() - SLOW_S.len()));
            next.taps.push(taps);
        }
        next
    }

    fn update(
        &self,
        seat: &Seat,
        state: &State,
        pairs: &[Solved],
        front: &Front,
        shared: &Reflector,
    ) -> Option<State> {
        let mut next = self.taps_of(pairs, front);
        next.delay_s = self.delay_s(seat, &next)?;
        next.reflector = Some(shared.clone());
        let echo = self.echo(seat, &next, front);
        let mut all_left = Vec::new();
        for (i, (pair, Solved { source, late, .. })) in seat.pairs.iter().zip(pairs).enumerate() {
            let source = self.with_echoes(source, pair, &echo.series);
            let mut left = self.residual(&source, pair, &next.taps[i], &next.slow[i]);
            for (column, weight) in late.iter().zip(&next.apart[i]) {
                left.iter_mut().zip(column).for_each(|(l, c)| *l -= weight * c);
            }
            all_left.push(left);
            next.moved.push(self.moves(pair, &state.moved[i], &next.apart[i]));
        }
        next.left = self.left_power(&all_left);
        next.echo = Some(echo);
        Some(next)
    }
}
