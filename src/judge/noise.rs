//! Level of the sweep and of the room's noise in third-octave bands, from one take alone.

use super::spectrogram::Spectrogram;
use super::track::Course;
use crate::transfer::median::median;

/// Silence nearer to the sweep than this is not used, s.
const GUARD_S: f64 = 0.04;
/// Decay that is given to the room before the tail counts as silence, s.
const DECAY_S: f64 = 0.6;
/// No more of the lead than this is listened to, s.
const LEAD_S: f64 = 1.0;
/// So much louder than the tail, in power, is no silence.
const TALK: f64 = 4.0;
/// Fewest silent frames for a statement on noise.
const FEWEST_FRAMES: usize = 6;
/// After its passage a band is listened to for this long, s: early decay belongs to it.
const RINGING_S: f64 = 0.1;
/// Window over which the loss is later formed, s: room below 500 Hz, direct sound above.
const WINDOW_LOW_S: f64 = 0.24;
const WINDOW_HIGH_S: f64 = 0.003;

/// Sweep and noise of a take, per band of the spectrogram.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BandLevels {
    /// Mean-square level while the sweep passes the band, dB re full scale.
    pub level_db: Vec<Option<f64>>,
    /// Mean-square noise of the take's own silence, dB re full scale.
    pub noise_db: Vec<Option<f64>>,
    /// Energy of the sweep over that of the noise in the window that the loss is formed
    /// from, dB.
    pub snr_db: Vec<Option<f64>>,
    /// Mean-square noise, linear, for the steps that follow; 0 where unknown.
    pub floor: Vec<f64>,
    /// First and last silent frame used, if any.
    pub silent: Option<(usize, usize)>,
}

/// Frames of silence: the last second of the lead if it is long enough, or the end of the tail where
/// that is clearly quieter: somebody talked.
pub fn silent_frames(s: &Spectrogram, course: &Course, start_s: f64) -> Option<(usize, usize)> {
    let n_lead = (0..s.n_frames)
        .take_while(|frame| s.time_s(*frame) + 0.5 * s.frame_s < start_s - GUARD_S)
        .count();
    let first = n_lead.saturating_sub((LEAD_S / s.hop_s) as usize);
    let lead = (n_lead >= FEWEST_FRAMES).then(|| (first, n_lead - 1));
    let end_s = start_s + course.duration_s() + DECAY_S;
    let tail = (0..s.n_frames)
        .find(|frame| s.time_s(*frame) - 0.5 * s.frame_s > end_s)
        .filter(|first| s.n_frames - first >= FEWEST_FRAMES)
        .map(|first| (first, s.n_frames - 1));
    let (Some(before), Some(after)) = (lead, tail) else { return lead.or(tail) };
    let power = |(first, last): (usize, usize)| {
        let frame = |f: usize| (0..s.bands.len()).map(|b| s.at(f, b)).sum::<f64>();
        median((first..=last).map(frame).collect()).unwrap_or(0.0)
    };
    Some(if power(before) > TALK * power(after) { after } else { before })
}

/// Noise floor of a band over some frames; `None` with too few. The median, so that a cough
/// among them does not count, brought to the mean of noise with as many degrees of freedom.
pub fn floor(s: &Spectrogram, band: usize, frames: impl Iterator<Item = usize>) -> Option<f64> {
    let mut values: Vec<f64> = frames.map(|frame| s.at(frame, band)).collect();
    if values.len() < FEWEST_FRAMES {
        return None;
    }
    let middle = values.len() / 2;
    let (_, median, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    // Median over mean of chi-squared, Wilson-Hilferty: (1 - 2 / (9 nu))^3.
    Some(*median / (1.0 - 2.0 / (9.0 * s.noise_dof(band))).powi(3))
}

/// Levels of the sweep that starts at `start_s` in the take, and of the noise.
///
/// Bands that the sweep or the file does not reach are absent; without silence the noise is.
pub fn band_levels(s: &Spectrogram, course: &Course, start_s: f64) -> BandLevels {
    let silent = silent_frames(s, course, start_s);
    let file_s = s.time_s(s.n_frames.saturating_sub(1)) + 0.5 * s.frame_s;
    let mut levels = BandLevels { silent, ..BandLevels::default() };
    for (index, band) in s.bands.iter().enumerate() {
        let noise = silent.and_then(|(first, last)| floor(s, index, first..=last));
        let covered =
            band.upper_hz() <= course.high_hz * 1.001 && band.lower_hz() >= course.low_hz * 0.999;
        let enters_s = start_s + course.passes_s(band.lower_hz());
        let leaves_s = start_s + course.passes_s(band.upper_hz());
        let inside = enters_s > 0.0 && leaves_s < file_s;
        let signal = (covered && inside).then(|| {
            let (from, to) = (enters_s - s.frame_s, leaves_s + RINGING_S);
            let frames: Vec<usize> =
                (0..s.n_frames).filter(|frame| (from..=to).contains(&s.time_s(*frame))).collect();
            let sum: f64 = frames.iter().map(|frame| s.at(*frame, index)).sum();
            let noise_part = noise.unwrap_or(0.0) * frames.len() as f64;
            (sum - noise_part) * s.hop_s
        });
        let energy = signal.filter(|energy| *energy > 0.0);
        let window_s = if band.nominal_hz() < 500.0 { WINDOW_LOW_S } else { WINDOW_HIGH_S };
        let level = energy.map(|energy| 10.0 * (energy / (leaves_s - enters_s)).log10());
        let snr = energy.zip(noise.filter(|noise| *noise > 0.0));
        levels.level_db.push(level);
        levels.noise_db.push(noise.filter(|n| *n > 0.0).map(|n| 10.0 * n.log10()));
        levels.snr_db.push(snr.map(|(energy, noise)| 10.0 * (energy / (noise * window_s)).log10()));
        levels.floor.push(noise.unwrap_or(0.0));
    }
    levels
}

#[cfg(test)]
mod tests {
    use super::super::scene::Scene;
    use super::super::spectrogram::Analyser;
    use super::*;

    fn levels(scene: &Scene) -> BandLevels {
        let course = Course::of(&scene.sweep()).expect("an exponential sweep");
        let s = Analyser::new(scene.rate_hz).spectrogram(&scene.take().mic);
        band_levels(&s, &course, scene.lead_s)
    }

    #[test]
    fn levels_are_those_of_the_sweep_and_of_the_noise() {
        // Nearly no decay: the level of the direct sound, amplitude 0.2, is -17.0 dB (rms).
        let dry = Scene { decay_s: 0.02, noise: 1e-4, ..Scene::default() };
        let course = Course::of(&dry.sweep()).expect("an exponential sweep");
        let s = Analyser::new(dry.rate_hz).spectrogram(&dry.take().mic);
        let found = band_levels(&s, &course, dry.lead_s);
        let noise = dry.noise(s.n_frames * 512);
        let truth = Analyser::new(dry.rate_hz).spectrogram(&noise);
        for (b, band) in s.bands.iter().enumerate() {
            if !(0..=12).contains(&band.index()) {
                continue;
            }
            let level = found.level_db[b].expect("covered");
            assert!((level + 16.99).abs() < 0.4, "{} Hz: {level}", band.nominal_hz());
            let mean =
                (0..truth.n_frames).map(|f| truth.at(f, b)).sum::<f64>() / truth.n_frames as f64;
            let error = found.noise_db[b].expect("silence") - 10.0 * mean.log10();
            assert!(error.abs() < 1.0, "{} Hz: noise off by {error:.2} dB", band.nominal_hz());
        }
    }

    #[test]
    fn twice_the_noise_is_6_db_less_distance() {
        let quiet = levels(&Scene::default());
        let loud = levels(&Scene { noise: 6e-4, ..Scene::default() });
        for b in 0..quiet.snr_db.len() - 1 {
            let change = quiet.snr_db[b].expect("silence") - loud.snr_db[b].expect("silence");
            assert!((change - 6.02).abs() < 0.3, "band {b}: {change}");
        }
    }

    #[test]
    fn without_silence_there_is_no_statement_on_noise() {
        let none = levels(&Scene { lead_s: 0.05, tail_s: 0.3, ..Scene::default() });
        assert!(none.noise_db.iter().all(Option::is_none) && none.silent.is_none());
        assert!(none.level_db[10].is_some());
        let tail = levels(&Scene { lead_s: 0.05, tail_s: 1.0, ..Scene::default() });
        assert!(tail.noise_db[10].is_some());
    }
}
