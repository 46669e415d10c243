//! Amplitudes of a take: flat tops, peak level, constant offset, gaps of digital silence.

/// Samples within this part of a half-wave's crest count as its top.
const TOP: f64 = 0.98;
/// Part of a half-wave that may be top. A sine has `2 acos(0.98) / pi = 13 %` there, one cut
/// by 1 dB 32 %, by 2 dB 43 %.
const FLAT_SHARE: f64 = 0.38;
/// Shorter half-waves (above 3 kHz at 48 kHz) have too few samples for a statement.
const SHORTEST_HALF_WAVE: usize = 8;
/// What a limit cuts lies at one level: neighbours this near to the take's peak. A sine has 4 % of a
/// half-wave there, and above 3 kHz the two samples beside its crest are 2 % below it ...
const AT_LIMIT: f64 = 0.998;
/// ... where so much of a half-wave, and two samples, are flat ...
const LIMIT_SHARE: f64 = 0.42;
/// ... in so many half-waves, not next to each other.
const LIMITED: usize = 4;
/// So many flat half-waves of one sign, next to each other, are needed.
const FLAT_IN_A_ROW: usize = 2;
/// Flat tops count where the crest reaches this part of the take's peak.
const NEAR_PEAK: f64 = 0.9;
/// Largest magnitude that is still full scale, as distance from 1 in steps of 2^-15.
const FULL_SCALE: f64 = 1.0 - 1.5 / 32768.0;
/// A file with samples above this, re full scale, holds floats that no converter's limit cut.
const ABOVE_FULL_SCALE: f64 = 1.0 + 1e-6;
/// Two neighbouring samples at full scale are a clipped top, a single one may be chance.
const FULL_SCALE_RUN: usize = 2;
/// Digital silence shorter than this may be quantised noise, s.
const GAP_S: f64 = 0.002;

/// Clipped tops of a take. Below full scale and above about 3 kHz only those are seen that lie at
/// the take's peak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clipping {
    /// When it first happens, s from the start of the file.
    pub first_s: f64,
    /// Level of the flat tops, dB re full scale.
    pub level_dbfs: f64,
    /// Half-waves in which it happens.
    pub n_half_waves: usize,
    /// At the converter's limit (true) or below it: something in front of it limits.
    pub full_scale: bool,
    /// How far the tops that are missing would reach above what is there, dB: the most of all
    /// half-waves, each taken for a sine.
    pub missing_db: f64,
}

/// What the samples alone tell.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Amplitudes {
    /// Largest magnitude, re full scale.
    pub peak: f64,
    /// Mean of all samples, re full scale.
    pub offset: f64,
    /// Flat tops, where there are any.
    pub clipping: Option<Clipping>,
    /// Longest run of exact zeros between other samples: start and length, s.
    pub gap_s: Option<(f64, f64)>,
    /// First and last sample that is not exactly zero, s; `None` for digital silence.
    pub sound_s: Option<(f64, f64)>,
    /// Whether every sample is finite.
    pub finite: bool,
    /// Hash of the largest magnitude and the last sample of every block of samples: equal for
    /// equal recordings.
    pub hash: u64,
}

/// Numbers of the hash by Fowler, Noll and Vo, 64 bits.
const FNV_START: u64 = 0xcbf2_9ce4_8422_2325;
const FNV_PRIME: u64 = 0x0100_0000_01b3;

/// Samples looked at together: a block without anything of note is passed over as a whole.
const BLOCK: usize = 64;

/// Looks at every sample a few times, at most of them in passing.
pub fn measure(samples: &[f64], rate_hz: u32) -> Amplitudes {
    let rate = f64::from(rate_hz);
    let survey = Survey::of(samples);
    let Survey { peak, sum, hash, .. } = survey;
    let finite = sum.is_finite();
    let offset = if samples.is_empty() { 0.0 } else { sum / samples.len() as f64 };
    let clipping = if finite { clipping(samples, &survey, offset, rate) } else { None };
    let first = samples.iter().position(|x| *x != 0.0);
    let last = samples.iter().rposition(|x| *x != 0.0);
    let sound = first.zip(last);
    Amplitudes {
        peak,
        offset,
        clipping,
        gap_s: sound.and_then(|(first, last)| gap(&samples[..=last], &survey, first, rate)),
        sound_s: sound.map(|(first, last)| (first as f64 / rate, last as f64 / rate)),
        finite,
        hash,
    }
}

/// What one pass over all samples tells, so that others may leave most of them out: memory
/// gives samples more slowly than they are looked at.
struct Survey {
    /// Largest magnitude.
    peak: f64,
    /// Sum of all samples.
    sum: f64,
    /// Largest magnitude of each block.
    peaks: Vec<f64>,
    /// Whether a block holds an exact zero.
    zeros: Vec<bool>,
    /// See [`Amplitudes::hash`].
    hash: u64,
}

impl Survey {
    fn of(samples: &[f64]) -> Self {
        let (mut peaks, mut zeros, mut hash) = (Vec::new(), Vec::new(), FNV_START);
        for block in samples.chunks(BLOCK) {
            let top = block.iter().fold(0f64, |a, x| a.max(x.abs()));
            peaks.push(top);
            zeros.push(block.contains(&0.0));
            // FNV-1a, eight bytes a step.
            for x in block.last().into_iter().chain([&top]) {
                hash = (hash ^ x.to_bits()).wrapping_mul(FNV_PRIME).rotate_left(23);
            }
        }
        let peak = peaks.iter().copied().fold(0f64, f64::max);
        Self { peak, sum: samples.iter().sum(), peaks, zeros, hash }
    }
}

/// Index of the first sample from `from` on that is `inside`, looked for in blocks that
/// `may_hold` it.
fn next(
    samples: &[f64],
    from: usize,
    may_hold: impl Fn(usize) -> bool,
    inside: impl Fn(f64) -> bool,
) -> Option<usize> {
    let mut at = from;
    while at < samples.len() {
        let end = ((at / BLOCK + 1) * BLOCK).min(samples.len());
        if may_hold(at / BLOCK)
            && let Some(i) = samples[at..end].iter().position(|x| inside(*x))
        {
            return Some(at + i);
        }
        at = end;
    }
    None
}

/// Flat tops, half-wave by half-wave about the constant offset.
///
/// Each half-wave is measured by its own crest and length, so that neither frequency nor the
/// shape of a resonance matters. Only those that come near the take's peak are looked at.
fn clipping(samples: &[f64], survey: &Survey, offset: f64, rate: f64) -> Option<Clipping> {
    let mut found: Option<Clipping> = None;
    let mut note = |wave: &HalfWave, n: usize| {
        let level_dbfs = 20.0 * wave.level.log10();
        let seen = found.get_or_insert(Clipping {
            first_s: wave.start as f64 / rate,
            level_dbfs,
            n_half_waves: 0,
            full_scale: false,
            missing_db: 0.0,
        });
        seen.n_half_waves += n;
        seen.full_scale |= wave.at_full_scale;
        seen.level_dbfs = seen.level_dbfs.max(level_dbfs);
        seen.missing_db = seen.missing_db.max(missing_db(wave.top));
    };
    // Flat half-waves in a row, and where the last one near the peak ended, for positive and
    // negative ones.
    let mut row = [0usize; 2];
    let mut last_end = [None; 2];
    let mut from = 0;
    let mut limited: Vec<HalfWave> = Vec::new();
    let near = NEAR_PEAK * survey.peak;
    // A hair less, for the rounding of the difference.
    let least = (1.0 - 1e-12) * (near - offset.abs());
    let may_be_near = |block: usize| survey.peaks[block] >= least;
    while let Some(high) = next(samples, from, may_be_near, |x| (x - offset).abs() >= near) {
        let wave = HalfWave::around(high, samples, offset, survey.peak);
        let side = usize::from(wave.positive);
        // Between two half-waves in a row lies one of the other side.
        let same = |x: &f64| (*x >= offset) == wave.positive;
        let in_a_row =
            last_end[side].is_some_and(|e: usize| !samples[e..wave.start].iter().any(same));
        if !in_a_row {
            row[side] = 0;
        }
        (last_end[side], from) = (Some(wave.end), wave.end);
        row[side] = if wave.is_flat { row[side] + 1 } else { 0 };
        if wave.at_full_scale || row[side] > FLAT_IN_A_ROW {
            note(&wave, 1);
        } else if row[side] == FLAT_IN_A_ROW {
            note(&wave, FLAT_IN_A_ROW);
        }
        if wave.is_limited {
            limited.push(wave);
        }
    }
    if limited.len() >= LIMITED {
        limited.iter().for_each(|wave| note(wave, 1));
    }
    found
}

/// One half-wave and what is cut off it.
struct HalfWave {
    /// Its samples.
    start: usize,
    end: usize,
    positive: bool,
    /// Largest magnitude, re full scale.
    level: f64,
    /// Part of it that lies at its crest.
    top: f64,
    /// Whether it is cut by the converter's limit,
    at_full_scale: bool,
    /// has more of a top than a sine,
    is_flat: bool,
    /// or lies at the level of the take's peak for long.
    is_limited: bool,
}

impl HalfWave {
    /// The one that holds the sample `high`, about a constant offset; `peak` is the take's.
    fn around(high: usize, samples: &[f64], offset: f64, peak: f64) -> Self {
        let positive = samples[high] >= offset;
        let same = |x: &f64| (*x >= offset) == positive;
        let start = samples[..high].iter().rposition(|x| !same(x)).map_or(0, |i| i + 1);
        let end = high + samples[high..].iter().take_while(|x| same(x)).count();
        let wave = &samples[start..end];
        let crest = wave.iter().fold(0f64, |a, x| a.max((x - offset).abs()));
        let level = wave.iter().fold(0f64, |a, x| a.max(x.abs()));
        let n_top = wave.iter().filter(|x| (**x - offset).abs() >= TOP * crest).count();
        let top = n_top as f64 / wave.len() as f64;
        let run = longest_run(wave, |x| x.abs() >= AT_LIMIT * peak);
        Self {
            start,
            end,
            positive,
            level,
            top,
            at_full_scale: peak <= ABOVE_FULL_SCALE
                && level >= FULL_SCALE
                && longest_run(wave, |x| x.abs() >= FULL_SCALE) >= FULL_SCALE_RUN,
            is_flat: wave.len() >= SHORTEST_HALF_WAVE && top > FLAT_SHARE,
            is_limited: run >= FULL_SCALE_RUN && run as f64 >= LIMIT_SHARE * wave.len() as f64,
        }
    }
}

/// How far a sine of which the part `top` of each half-wave is flat would reach above that, dB.
fn missing_db(top: f64) -> f64 {
    let crest = (0.5 * std::f64::consts::PI * (1.0 - top)).sin() / TOP;
    -20.0 * crest.clamp(0.05, 1.0).log10()
}

fn longest_run(samples: &[f64], inside: impl Fn(f64) -> bool) -> usize {
    let (mut longest, mut run) = (0, 0);
    for x in samples {
        run = if inside(*x) { run + 1 } else { 0 };
        longest = longest.max(run);
    }
    longest
}

/// Longest run of zeros from sample `first` on, which is another, as is the last one.
fn gap(samples: &[f64], survey: &Survey, first: usize, rate: f64) -> Option<(f64, f64)> {
    let mut longest = (0, 0);
    let mut from = first;
    while let Some(start) = next(samples, from, |block| survey.zeros[block], |x| x == 0.0) {
        let length = samples[start..].iter().take_while(|x| **x == 0.0).count();
        if length > longest.1 {
            longest = (start, length);
        }
        from = start + length;
    }
    let length_s = longest.1 as f64 / rate;
    (length_s >= GAP_S).then(|| (longest.0 as f64 / rate, length_s))
}

#[cfg(test)]
mod tests;
