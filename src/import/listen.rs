//! One recording: its sweeps found, its channels told apart, each sweep judged.

use super::channel::{Channels, is_electrical, strength, with_sweeps};
use super::cut::{cut, quiet_part, stretches};
use super::error::ImportError;
use super::find::{Finder, SweepInStream};
use super::formats::{About, Block, Source};
use super::judge::{Judge, Judged};
use super::resample::resample;
use crate::ingest::session::SweepSignal;
use crate::transfer::deconvolve::Deconvolver;
use rayon::prelude::*;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// Rates that players and recorders have, Hz.
const USUAL_RATES_HZ: [f64; 8] =
    [32_000.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0, 192_000.0, 22_050.0];
/// A pace this near to that of two usual rates is theirs.
const PACE_ERROR: f64 = 0.004;
/// How much clearer the sweeps of another pace must be than those of the right one, dB.
const CLEARER_DB: f64 = 6.0;
/// A sweep that was broken off has at least this part of the energy of a whole one's response.
const BROKEN_OFF: f64 = 0.05;
/// Where there is no whole one to compare with, this is clear enough, dB.
const CLEAR_DB: f64 = 30.0;
/// Where no sweep is found, ones played at another rate are looked for in so much, s.
const SEARCHED_S: f64 = 900.0;

/// A recording with what was found in it.
pub(super) struct Heard {
    pub path: PathBuf,
    pub about: About,
    /// Samples of each channel, counted.
    pub n_frames: u64,
    /// `None` where no sweep was found.
    pub channels: Option<Channels>,
    pub sweeps: Vec<HeardSweep>,
}

/// One sweep of a recording.
pub(super) struct HeardSweep {
    /// When it begins, s from the start of the recording.
    pub start_s: f64,
    /// What a take of it holds, frames of the recording.
    pub stretch: Range<u64>,
    pub judged: Judged,
}

/// Looks for `sweep` in the recording at `path`. `channel`, counted from 0, is the microphone's
/// where the user says so; `tick` is told the frames that were read.
///
/// # Errors
/// [`ImportError`] where the recording cannot be used at all: unreadable, without that channel,
/// without any microphone, or played at a wrong rate.
pub(super) fn listen(
    sweep: &SweepSignal,
    path: &Path,
    channel: Option<usize>,
    tick: &dyn Fn(u64),
) -> Result<Heard, ImportError> {
    let source = Source::open(path)?;
    let about = source.about.clone();
    if let Some(channel) = channel.filter(|&c| c >= about.n_channels) {
        let n = about.n_channels;
        let problem = format!("--channel says {}, the recording has {n}", channel + 1);
        return Err(ImportError::recording(path, problem, "name the channel of the microphone"));
    }
    let mut ear = Ear { sweep, source, n_frames: 0 };
    let (found, n_frames) = ear.search(1.0, u64::MAX, tick)?;
    if n_frames == 0 {
        let advice = "copy it from the recorder again";
        return Err(ImportError::recording(path, "it holds no sample", advice));
    }
    ear.n_frames = n_frames;
    let mut heard =
        Heard { path: path.into(), about, n_frames, channels: None, sweeps: Vec::new() };
    let holding = match channel {
        Some(channel) if found[channel].is_empty() => Vec::new(),
        _ => with_sweeps(&found),
    };
    if holding.is_empty() {
        return match ear.other_pace() {
            Some(slowness) => Err(wrong_rate(path, sweep.rate_hz, slowness - 1.0)),
            None => Ok(heard),
        };
    }
    let channels = ear.tell_apart(&found, &holding, channel)?;
    let (found, mic) = (&found[channels.mic], channels.mic);
    if let Some(slowness) = ear.pace_of_clearest(found, mic)? {
        return Err(wrong_rate(path, sweep.rate_hz, slowness - 1.0));
    }
    heard.sweeps = ear.judge(found, mic)?;
    let kept = without_talk(found, &heard.sweeps);
    if kept.len() < found.len() {
        // What was no sweep no longer stands in the way of its neighbours' silence.
        heard.sweeps = ear.judge(&kept, mic)?;
    }
    let paces: Vec<f64> = heard.sweeps.iter().filter_map(|s| s.judged.wrong_pace).collect();
    if 2 * paces.len() > heard.sweeps.len() {
        return Err(wrong_rate(path, sweep.rate_hz, paces[paces.len() / 2]));
    }
    heard.channels = (!heard.sweeps.is_empty()).then_some(channels);
    Ok(heard)
}

/// What was found without the talk and steps that only looked like a sweep: those in which no
/// whole sweep is heard and whose response is weak beside that of the whole ones. A sweep that
/// was broken off is nearly as strong and stays.
fn without_talk(found: &[SweepInStream], sweeps: &[HeardSweep]) -> Vec<SweepInStream> {
    let is_whole = |s: &HeardSweep| !s.judged.is_another_signal();
    let mut energies: Vec<f64> =
        found.iter().zip(sweeps).filter(|(_, s)| is_whole(s)).map(|(f, _)| f.energy).collect();
    energies.sort_by(f64::total_cmp);
    let usual = energies.get(energies.len() / 2).copied();
    found
        .iter()
        .zip(sweeps)
        .filter(|(f, s)| {
            is_whole(s)
                || match usual {
                    Some(usual) => f.energy > BROKEN_OFF * usual,
                    None => f.contrast_db > CLEAR_DB,
                }
        })
        .map(|(f, _)| *f)
        .collect()
}

/// An opened recording in which a sweep is looked for.
struct Ear<'a> {
    sweep: &'a SweepSignal,
    source: Source,
    /// Samples of each channel, once they are counted.
    n_frames: u64,
}

impl Ear<'_> {
    /// Sweeps of every channel in up to `n_most` frames, and the number of frames read.
    fn search(
        &mut self,
        slowness: f64,
        n_most: u64,
        tick: &dyn Fn(u64),
    ) -> Result<(Vec<Vec<SweepInStream>>, u64), ImportError> {
        let source = &mut self.source;
        let About { rate_hz, n_channels, .. } = source.about;
        let finders = Finder::for_channels(self.sweep, rate_hz, slowness, n_channels);
        let Some(mut finders) = finders else {
            let problem = format!("at {rate_hz} Hz it carries too little of the sweep to find it");
            let advice = "record at 44100 Hz or more";
            return Err(ImportError::recording(&source.path, problem, advice));
        };
        source.seek(0)?;
        let mut block = Block::new();
        let mut n_frames = 0;
        while n_frames < n_most && source.next(&mut block)? {
            let n = block.first().map_or(0, Vec::len) as u64;
            n_frames += n;
            tick(n);
            finders.par_iter_mut().zip(&block).for_each(|(finder, samples)| finder.push(samples));
        }
        Ok((finders.into_par_iter().map(Finder::finish).collect(), n_frames))
    }

    /// How much more slowly the sweep runs than it should, where it was played at another usual
    /// rate: the one at which it is clearest.
    fn other_pace(&mut self) -> Option<f64> {
        let n_most = (SEARCHED_S * f64::from(self.source.about.rate_hz)) as u64;
        let mut best: Option<(f64, f64)> = None;
        for slowness in other_slownesses(self.sweep) {
            let Ok((found, _)) = self.search(slowness, n_most, &|_| {}) else { continue };
            for one in found.iter().flatten() {
                if best.is_none_or(|(contrast, _)| one.contrast_db > contrast) {
                    best = Some((one.contrast_db, slowness));
                }
            }
        }
        best.map(|(_, slowness)| slowness)
    }

    /// Microphone and reference among the channels that hold sweeps.
    fn tell_apart(
        &mut self,
        found: &[Vec<SweepInStream>],
        holding: &[usize],
        stated: Option<usize>,
    ) -> Result<Channels, ImportError> {
        let (sweep, source) = (self.sweep, &mut self.source);
        let clearest = |channel: usize| {
            found[channel].iter().max_by(|a, b| a.contrast_db.total_cmp(&b.contrast_db))
        };
        let mut electrical = Vec::new();
        for &channel in holding.iter().filter(|&&c| Some(c) != stated) {
            let Some(one) = clearest(channel) else { continue };
            let stretch =
                stretches(sweep, source.about.rate_hz, self.n_frames, &[one.start_frame]).remove(0);
            let sound = cut(source, &stretch, &[channel])?.remove(0);
            let sound = at_rate(source, &sound, sweep.rate_hz)?;
            let response = Deconvolver::new(sweep, sound.len()).into_response(sound, None, None);
            if is_electrical(&response, f64::from(sweep.rate_hz)) {
                electrical.push(channel);
            }
        }
        let mut mics: Vec<usize> =
            holding.iter().copied().filter(|c| !electrical.contains(c)).collect();
        mics.sort_by(|&a, &b| strength(&found[b]).total_cmp(&strength(&found[a])));
        let Some(mic) = stated.or(mics.first().copied()) else {
            let list: Vec<String> = electrical.iter().map(|c| (c + 1).to_string()).collect();
            let problem = format!(
                "channel {} holds the sweep as it went into the amplifier, and no channel holds a \
                 microphone",
                list.join(" and ")
            );
            let advice = "check the microphone and its channel, or name it with --channel";
            return Err(ImportError::recording(&source.path, problem, advice));
        };
        let others = mics.into_iter().filter(|&c| c != mic).collect();
        Ok(Channels { mic, others, reference: electrical.first().copied() })
    }

    /// How much more slowly the clearest sweep runs than it should, where it is clearer at the pace
    /// of another usual rate than at its own.
    fn pace_of_clearest(
        &mut self,
        found: &[SweepInStream],
        mic: usize,
    ) -> Result<Option<f64>, ImportError> {
        let clearest = found.iter().max_by(|a, b| a.contrast_db.total_cmp(&b.contrast_db));
        let Some(clearest) = clearest else { return Ok(None) };
        let (sweep, rate_hz) = (self.sweep, self.source.about.rate_hz);
        let length_s = sweep.active.len() as f64 / f64::from(sweep.rate_hz);
        let frames = |s: f64| (s * f64::from(rate_hz)) as i64;
        // With room for a sweep of another pace, and for what surrounds it.
        let first = (clearest.start_frame - frames(0.5 * length_s + 2.0)).max(0) as u64;
        let last = (clearest.start_frame + frames(2.5 * length_s + 2.0)).max(0) as u64;
        let sound = cut(&mut self.source, &(first..last.min(self.n_frames)), &[mic])?.remove(0);
        let contrast_at = |slowness: f64| -> f64 {
            let finder =
                Finder::for_channels(sweep, rate_hz, slowness, 1).and_then(|mut f| f.pop());
            let Some(mut finder) = finder else { return 0.0 };
            finder.push(&sound);
            finder.finish().iter().map(|f| f.contrast_db).fold(0.0, f64::max)
        };
        let own_db = contrast_at(1.0);
        // One at a time: their plans are the largest thing in memory.
        let other = other_slownesses(sweep)
            .into_iter()
            .map(|slowness| (contrast_at(slowness), slowness))
            .fold((0.0, 1.0), |a, b| if a.0 >= b.0 { a } else { b });
        Ok((other.0 > own_db + CLEARER_DB).then_some(other.1))
    }

    /// Every sweep of the microphone's channel judged, as many at a time as there are threads.
    fn judge(
        &mut self,
        found: &[SweepInStream],
        mic: usize,
    ) -> Result<Vec<HeardSweep>, ImportError> {
        let (sweep, source) = (self.sweep, &mut self.source);
        let rate_hz = source.about.rate_hz;
        let starts: Vec<i64> = found.iter().map(|f| f.start_frame).collect();
        let cuts = stretches(sweep, rate_hz, self.n_frames, &starts);
        let longest = cuts.iter().map(|c| c.end - c.start).max().unwrap_or(0);
        let n_points = longest as f64 * f64::from(sweep.rate_hz) / f64::from(rate_hz);
        let judge = Judge::new(sweep, n_points as usize + 1);
        let length_s = sweep.active.len() as f64 / f64::from(sweep.rate_hz);
        let length = (length_s * f64::from(rate_hz)) as usize;
        let mut sweeps = Vec::with_capacity(cuts.len());
        let numbered: Vec<(i64, Range<u64>)> = starts.into_iter().zip(cuts).collect();
        for some in numbered.chunks(rayon::current_num_threads().max(1)) {
            let mut sounds = Vec::new();
            let mut kept_parts = Vec::new();
            for (start, stretch) in some {
                let sound = cut(source, stretch, &[mic])?.remove(0);
                let first = (start - stretch.start as i64).max(0) as usize;
                let part = quiet_part(&sound, first..(first + length).min(sound.len()), rate_hz);
                kept_parts.push(stretch.start + part.start as u64..stretch.start + part.end as u64);
                sounds.push(sound[part].to_vec());
            }
            let source = &*source;
            let judged: Vec<Judged> = sounds
                .into_par_iter()
                .map(|sound| Ok(judge.judge(at_rate(source, &sound, sweep.rate_hz)?)))
                .collect::<Result<_, ImportError>>()?;
            for (((start, _), stretch), judged) in some.iter().zip(kept_parts).zip(judged) {
                let start_s = *start as f64 / f64::from(rate_hz);
                sweeps.push(HeardSweep { start_s, stretch, judged });
            }
        }
        Ok(sweeps)
    }
}

/// Paces at which a file is played by players that are set to another usual rate.
fn other_slownesses(sweep: &SweepSignal) -> Vec<f64> {
    let own = f64::from(sweep.rate_hz);
    let others = USUAL_RATES_HZ.into_iter().filter(|&r| r != own);
    others.map(|rate| own / rate).filter(|s| (0.4..2.5).contains(s)).collect()
}

/// The refusal of a recording whose sweeps run `off` times as long again.
fn wrong_rate(path: &Path, sweep_rate_hz: u32, off: f64) -> ImportError {
    let own = f64::from(sweep_rate_hz);
    let usual = USUAL_RATES_HZ
        .into_iter()
        .min_by(|a, b| (own / a - 1.0 - off).abs().total_cmp(&(own / b - 1.0 - off).abs()))
        .filter(|rate| (own / rate - 1.0 - off).abs() < PACE_ERROR);
    let pace = format!(
        "its sweeps run {:.1} % {} and sound {} than the session's",
        100.0 * off.abs(),
        if off > 0.0 { "longer" } else { "shorter" },
        if off > 0.0 { "lower" } else { "higher" },
    );
    let (problem, advice) = match usual {
        Some(rate) => (
            format!(
                "{pace}, as when the {sweep_rate_hz} Hz file is played at {rate:.0} Hz, or the file \
                 states a wrong rate"
            ),
            format!(
                "set the player to {sweep_rate_hz} Hz and record again (a recorder at another rate \
                 does no harm)"
            ),
        ),
        None => (
            format!("{pace}: another sweep was played"),
            "play the sweep of this session and record again".into(),
        ),
    };
    ImportError::recording(path, problem, advice)
}

/// Sound of a recording at the rate of the session.
pub(super) fn at_rate(
    source: &Source,
    samples: &[f64],
    rate_hz: u32,
) -> Result<Vec<f64>, ImportError> {
    resample(samples, source.about.rate_hz, rate_hz).map_err(|problem| {
        let problem = format!("cannot be brought to {rate_hz} Hz ({problem})");
        let advice = format!("export the recording at {rate_hz} Hz");
        ImportError::recording(&source.path, problem, advice)
    })
}
