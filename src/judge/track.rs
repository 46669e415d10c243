//! Where in a take the sweep is: each spectral peak votes for the start of a sweep that
//! would pass its frequency at its time.

use super::spectrogram::Spectrogram;
use crate::ingest::session::SweepSignal;
use crate::transfer::median::median;

/// Peaks vote from this frequency up, Hz: below, a frame resolves the time too coarsely.
const LOWEST_VOTE_HZ: f64 = 150.0;
/// Votes within this distance belong to one sweep, s (plus what the frame cannot resolve).
const VOTE_WIDTH_S: f64 = 0.02;
/// The slope of the votes is read from this frequency up, Hz: below, rooms ring up late ...
const LOWEST_SLOPE_HZ: f64 = 300.0;
/// ... from votes within this part of the rate constant.
const SLOPE_REACH: f64 = 0.4;
/// How far the first and the last octave's median may lie off against each other, s.
const SLOPE_ERROR_S: f64 = 0.04;
/// Second sweeps nearer than this are echoes and decay of the first, s.
const SECOND_AT_LEAST_S: f64 = 0.25;
/// A second sweep is at most so much softer than the first, dB.
const SECOND_BELOW_DB: f64 = 20.0;

/// The known course of an exponential sweep: frequency against time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    /// `L = T / ln(f2/f1)`, s.
    pub rate_constant_s: f64,
    /// First frequency, Hz.
    pub low_hz: f64,
    /// Last frequency, Hz.
    pub high_hz: f64,
}

impl Course {
    /// Course of the played signal; `None` unless it is an exponential sweep.
    pub fn of(sweep: &SweepSignal) -> Option<Self> {
        let rate_constant_s = sweep.rate_constant_s.filter(|l| l.is_finite() && *l > 0.0)?;
        let [low_hz, high_hz] = sweep.band_hz;
        if !(low_hz > 0.0 && high_hz > low_hz && high_hz.is_finite()) {
            return None;
        }
        Some(Self { rate_constant_s, low_hz, high_hz })
    }

    /// Time after the start of the sweep at which it passes `hz`, s.
    pub fn passes_s(&self, hz: f64) -> f64 {
        self.rate_constant_s * (hz / self.low_hz).ln()
    }

    /// Frequency `time_s` after the start of the sweep, Hz; beyond its ends extrapolated.
    pub fn hz_at(&self, time_s: f64) -> f64 {
        self.low_hz * (time_s / self.rate_constant_s).exp()
    }

    /// Length of the sweep, s.
    pub fn duration_s(&self) -> f64 {
        self.passes_s(self.high_hz)
    }
}

/// A sweep found in a take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SweepInTake {
    /// When it starts at its lowest frequency, s from the start of the file; negative when
    /// the recording began later.
    pub start_s: f64,
    /// Part of the frames in which it should be heard that voted for it, 0 to 1.
    pub share: f64,
    /// How much more slowly it runs than the played sweep, as part of it: 0 for the same
    /// signal, 0.1 for one that takes 10 % longer.
    pub slowness: f64,
    /// How far that may be off, as part of the sweep: a room that rings up late moves the
    /// votes of an octave by milliseconds, which weigh the more, the less of the sweep is there.
    pub slowness_error: f64,
}

/// Finds the sweep, and a second one where the take holds two.
///
/// # Valid range
/// Times to about 3 ms. `None` when no frame shows a peak; a low `share` of the first means
/// that the take is no recording of this sweep, and is for the caller to judge.
pub fn find(s: &Spectrogram, course: &Course) -> (Option<SweepInTake>, Option<SweepInTake>) {
    let votes = votes(s, course);
    let Some(first) = strongest(&votes, s, course, None) else { return (None, None) };
    let as_loud = as_loud_as(&first, votes, s, course);
    let second = strongest(&as_loud, s, course, Some(first.start_s));
    (Some(first), second)
}

/// Votes whose band is about as loud as when the sweep passed it: decay, harmonics and noise
/// vote too, and over a short sweep they vote for one start by chance.
fn as_loud_as(
    first: &SweepInTake,
    votes: Vec<Vote>,
    s: &Spectrogram,
    course: &Course,
) -> Vec<Vote> {
    let least: Vec<f64> = (0..s.bands.len())
        .map(|b| {
            let enters_s = first.start_s + course.passes_s(s.edges_hz[b][0]) - s.frame_s;
            let leaves_s = first.start_s + course.passes_s(s.edges_hz[b][1]) + s.frame_s;
            let passing = (0..s.n_frames).filter(|f| (enters_s..=leaves_s).contains(&s.time_s(*f)));
            let loudest = passing.map(|frame| s.at(frame, b)).fold(0.0, f64::max);
            loudest * 10f64.powf(-SECOND_BELOW_DB / 10.0)
        })
        .collect();
    let loud = |vote: &Vote| s.band_of(vote.hz).is_some_and(|b| s.at(vote.frame, b) >= least[b]);
    votes.into_iter().filter(loud).collect()
}

/// Rates that players have, Hz.
const USUAL_RATES_HZ: [f64; 6] = [32_000.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0];
/// A sweep of another pace is told from this part of its frames on ...
const PACE_SHARE: f64 = 0.6;
/// ... if it is heard in so much more of them than at its own pace.
const PACE_CLEARER: f64 = 0.2;

/// Speed at which the sweep was played where it is heard clearly better at the ratio of two usual
/// sampling rates than at its own speed; `found` is what was heard at its own.
pub fn other_pace(s: &Spectrogram, course: &Course, found: &SweepInTake) -> Option<f64> {
    if found.share >= PACE_SHARE && found.slowness.abs() < found.slowness_error.max(0.01) {
        return None;
    }
    let mut paces: Vec<f64> = USUAL_RATES_HZ
        .iter()
        .flat_map(|player| USUAL_RATES_HZ.map(|file| player / file))
        .filter(|pace| *pace != 1.0 && (0.45..=2.2).contains(pace))
        .collect();
    paces.sort_by(f64::total_cmp);
    paces.dedup_by(|a, b| (*a / *b - 1.0).abs() < 1e-9);
    let share_at = |pace: f64| {
        let played = Course {
            rate_constant_s: course.rate_constant_s / pace,
            low_hz: course.low_hz * pace,
            high_hz: course.high_hz * pace,
        };
        let votes = votes(s, &played);
        strongest(&votes, s, &played, None).map_or(0.0, |f| f.share)
    };
    let heard: Vec<(f64, f64)> = paces.into_iter().map(|pace| (pace, share_at(pace))).collect();
    let &(pace, share) = heard.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    // Noise is heard at any pace.
    let others: Vec<f64> = heard.iter().filter(|h| h.0 != pace).map(|h| h.1).collect();
    let usual = median(others)?.max(found.share);
    (share >= PACE_SHARE && share > usual + PACE_CLEARER).then_some(pace)
}

struct Vote {
    frame: usize,
    hz: f64,
    start_s: f64,
}

fn votes(s: &Spectrogram, course: &Course) -> Vec<Vote> {
    let loud = s.peaks.iter().filter(|p| p.hz >= LOWEST_VOTE_HZ && p.hz <= course.high_hz);
    loud.map(|p| Vote {
        frame: p.frame,
        hz: p.hz,
        start_s: s.time_s(p.frame) - course.passes_s(p.hz),
    })
    .collect()
}

/// How far a vote from `hz` may lie off: half a bin of the frame in terms of time.
fn width_s(s: &Spectrogram, course: &Course, hz: f64) -> f64 {
    VOTE_WIDTH_S + course.rate_constant_s * 0.5 / s.frame_s / hz
}

fn strongest(
    votes: &[Vote],
    s: &Spectrogram,
    course: &Course,
    not_near_s: Option<f64>,
) -> Option<SweepInTake> {
    let far = |vote: &&Vote| {
        not_near_s.is_none_or(|t| (vote.start_s - t).abs() > SECOND_AT_LEAST_S + VOTE_WIDTH_S)
    };
    // Histogram over start times, each vote also counting in both neighbours.
    let earliest_s = -course.duration_s();
    let n_slots = ((s.time_s(s.n_frames) - earliest_s) / s.hop_s).ceil().max(0.0) as usize + 3;
    let mut slots = vec![0u32; n_slots];
    for vote in votes.iter().filter(far) {
        let slot = (vote.start_s - earliest_s) / s.hop_s;
        if slot >= 1.0 && (slot as usize) + 1 < n_slots {
            slots[slot as usize - 1..=slot as usize + 1].iter_mut().for_each(|n| *n += 1);
        }
    }
    let (slot, count) = slots.iter().enumerate().max_by_key(|(_, n)| **n)?;
    if *count == 0 {
        return None;
    }
    let rough_s = earliest_s + (slot as f64 + 0.5) * s.hop_s;
    let mut near: Vec<(f64, f64)> = votes
        .iter()
        .filter(far)
        .filter(|v| (v.start_s - rough_s).abs() < 1.5 * VOTE_WIDTH_S)
        .map(|v| (v.hz, v.start_s))
        .collect();
    // High frequencies tell the time best: use the upper half of the votes.
    near.sort_by(|a, b| b.0.total_cmp(&a.0));
    near.truncate((near.len() / 2).max(1));
    near.sort_by(|a, b| a.1.total_cmp(&b.1));
    let start_s = near.get(near.len() / 2)?.1;
    let share = share(votes, s, course, start_s)?;
    let (slowness, slowness_error) = slowness(votes, course, start_s);
    Some(SweepInTake { start_s, share, slowness, slowness_error })
}

/// Slope of the votes' start times against the logarithm of frequency, over the rate
/// constant: median over all pairs of octaves of the medians in each (Theil-Sen); and how
/// far it may be off.
fn slowness(votes: &[Vote], course: &Course, start_s: f64) -> (f64, f64) {
    let mut octaves: Vec<(f64, f64)> = Vec::new();
    let mut low_hz = LOWEST_SLOPE_HZ;
    while low_hz < course.high_hz {
        let mut starts: Vec<f64> = votes
            .iter()
            .filter(|v| v.hz >= low_hz && v.hz < 2.0 * low_hz)
            .map(|v| v.start_s)
            .filter(|t| (t - start_s).abs() < SLOPE_REACH * course.rate_constant_s)
            .collect();
        starts.sort_by(f64::total_cmp);
        if starts.len() >= 5 {
            octaves.push((low_hz.ln(), starts[starts.len() / 2]));
        }
        low_hz *= 2.0;
    }
    let mut slopes: Vec<f64> = Vec::new();
    for (i, a) in octaves.iter().enumerate() {
        for b in &octaves[i + 1..] {
            slopes.push((b.1 - a.1) / (b.0 - a.0) / course.rate_constant_s);
        }
    }
    slopes.sort_by(f64::total_cmp);
    let Some(slope) = slopes.get(slopes.len() / 2) else { return (0.0, f64::INFINITY) };
    let octaves_apart = octaves[octaves.len() - 1].0 - octaves[0].0;
    (*slope, SLOPE_ERROR_S / (octaves_apart * course.rate_constant_s))
}

/// Part of the frames in which a sweep from `start_s` must be heard that voted for it.
fn share(votes: &[Vote], s: &Spectrogram, course: &Course, start_s: f64) -> Option<f64> {
    let highest_hz = s.bands.last()?.lower_hz().min(course.high_hz);
    let expected = frames_up_to(highest_hz, s, course, start_s);
    let mut last = usize::MAX;
    let mut heard = 0usize;
    for vote in votes.iter().filter(|v| v.hz <= highest_hz) {
        if (vote.start_s - start_s).abs() <= width_s(s, course, vote.hz) && vote.frame != last {
            last = vote.frame;
            heard += 1;
        }
    }
    (expected > 0).then(|| (heard as f64 / expected as f64).min(1.0))
}

/// Number of frames in which a sweep from `start_s` should be heard.
pub fn expected_frames(s: &Spectrogram, course: &Course, start_s: f64) -> usize {
    frames_up_to(course.high_hz, s, course, start_s)
}

/// Number of frames in which a sweep from `start_s` lies between the lowest vote and `highest_hz`.
fn frames_up_to(highest_hz: f64, s: &Spectrogram, course: &Course, start_s: f64) -> usize {
    let heard = |frame: usize| {
        let hz = course.hz_at(s.time_s(frame) - start_s);
        (LOWEST_VOTE_HZ..=highest_hz).contains(&hz)
    };
    (0..s.n_frames).filter(|frame| heard(*frame)).count()
}

#[cfg(test)]
mod tests {
    use super::super::scene::Scene;
    use super::super::spectrogram::Analyser;
    use super::*;

    fn located(samples: &[f64], scene: &Scene) -> (Option<SweepInTake>, Option<SweepInTake>) {
        let course = Course::of(&scene.sweep()).expect("an exponential sweep");
        find(&Analyser::new(scene.rate_hz).spectrogram(samples), &course)
    }

    #[test]
    fn the_start_is_found_to_milliseconds() {
        for (seed, lead_s) in [(1, 0.5), (2, 0.731), (3, 0.05)] {
            let scene = Scene { lead_s, seed, ..Scene::default() };
            let (first, second) = located(&scene.take().mic, &scene);
            let first = first.expect("found");
            assert!((first.start_s - lead_s).abs() < 0.004, "{first:?}, want {lead_s}");
            assert!(first.share > 0.9 && first.slowness.abs() < 0.01, "{first:?}");
            assert!(second.is_none_or(|f| f.share < 0.2), "{second:?}");
        }
    }

    #[test]
    fn a_late_recording_starts_before_its_file() {
        let scene = Scene { lead_s: 0.5, ..Scene::default() };
        let take = scene.take().mic;
        let (first, _) = located(&take[48_000..], &scene);
        assert!((first.expect("found").start_s + 0.5).abs() < 0.004, "{first:?}");
    }

    #[test]
    fn a_slower_sweep_shows_how_much_slower_it_is() {
        let scene = Scene::default();
        for percent in [-6.0, -3.0, 3.0, 6.0] {
            let duration_s = scene.duration_s * (1.0 + percent / 100.0);
            let other = Scene { duration_s, ..scene };
            let (first, _) = located(&other.take().mic, &scene);
            let slowness = 100.0 * first.expect("alike enough").slowness;
            assert!((slowness - percent).abs() < 1.0, "{percent} %: {slowness}");
        }
    }

    #[test]
    fn the_decay_of_a_short_sweep_is_no_second_one() {
        for decay_s in [0.1, 0.3, 0.6] {
            let scene = Scene { duration_s: 1.0, decay_s, ..Scene::default() };
            let (first, second) = located(&scene.take().mic, &scene);
            assert!((first.expect("found").start_s - scene.lead_s).abs() < 0.01, "{first:?}");
            assert!(second.is_none_or(|f| f.share < 0.2), "{decay_s}: {second:?}");
        }
    }

    #[test]
    fn another_signal_finds_few_votes() {
        let scene = Scene::default();
        let other = Scene { duration_s: 1.7, ..Scene::default() };
        let (first, _) = located(&other.take().mic, &scene);
        assert!(first.is_none_or(|f| f.share < 0.3), "{first:?}");
        let mut backwards = scene.take().mic;
        backwards.reverse();
        let (first, _) = located(&backwards, &scene);
        assert!(first.is_none_or(|f| f.share < 0.3), "{first:?}");
        let silence = vec![0.0; 100_000];
        assert_eq!(located(&silence, &scene), (None, None));
    }
}
