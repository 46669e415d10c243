//! A blind test: which of A and B is X?
//!
//! Which version is A, and which is X in each round, the system's random source draws before the
//! first round. Nothing of it is told before the last answer is in.

use super::ListenError;
use crate::analysis::chance::{guessing, is_shown};
use crate::report::words::heard::sentence;
use serde::{Deserialize, Serialize};
use std::ops::RangeInclusive;

/// How many rounds a test may have.
pub const ROUNDS: RangeInclusive<usize> = 8..=20;

/// One of the two versions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The one played as A.
    A,
    /// The one played as B.
    B,
}

/// A test under way. Its draw stays in here until it is done.
pub struct BlindTest {
    /// Whether A is the second of the two versions.
    swapped: bool,
    /// Which is X, round by round.
    x: Vec<Side>,
    answers: Vec<Side>,
}

/// A finished test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outcome {
    pub rounds: u64,
    /// Rounds answered rightly.
    pub right: u64,
    /// How likely guessing is right as often or more often.
    pub guessing: f64,
    /// Whether that is so unlikely that a difference counts as shown.
    pub shown: bool,
    /// The result in a sentence.
    pub sentence: String,
    /// Whether A was the second of the two versions.
    pub swapped: bool,
    /// Which X was, round by round.
    pub x: Vec<Side>,
    /// What was answered.
    pub answers: Vec<Side>,
}

impl BlindTest {
    /// Draws a test.
    ///
    /// # Errors
    /// [`ListenError::Test`] for a number of rounds outside [`ROUNDS`], [`ListenError::Random`]
    /// where the system gives no random numbers.
    pub fn draw(rounds: usize) -> Result<Self, ListenError> {
        if !ROUNDS.contains(&rounds) {
            let (least, most) = (ROUNDS.start(), ROUNDS.end());
            let problem = format!("{rounds} rounds, expected {least} to {most}");
            return Err(ListenError::Test { problem });
        }
        Self::of(rounds)
    }

    /// One round, to learn how it goes; it can never be kept.
    ///
    /// # Errors
    /// [`ListenError::Random`] where the system gives no random numbers.
    pub fn training() -> Result<Self, ListenError> {
        Self::of(1)
    }

    fn of(rounds: usize) -> Result<Self, ListenError> {
        let mut bytes = vec![0u8; rounds + 1];
        getrandom::fill(&mut bytes).map_err(|e| ListenError::Random { problem: e.to_string() })?;
        let side = |byte: &u8| if byte & 1 == 0 { Side::A } else { Side::B };
        let swapped = bytes[0] & 1 == 1;
        Ok(Self { swapped, x: bytes[1..].iter().map(side).collect(), answers: Vec::new() })
    }

    /// Number of rounds.
    pub fn rounds(&self) -> usize {
        self.x.len()
    }

    /// The round that is open, counted from 0; the number of rounds when all are answered.
    pub fn open_round(&self) -> usize {
        self.answers.len()
    }

    /// Which of the two versions a key plays in the open round: 0 the first, 1 the second.
    pub fn version_of(&self, side: Side) -> usize {
        usize::from((side == Side::B) != self.swapped)
    }

    /// Which of the two versions X is in a round; `None` where the round is not the open one, so
    /// that rounds to come cannot be listened to.
    pub fn version_of_x(&self, round: usize) -> Option<usize> {
        let open = round == self.open_round();
        self.x.get(round).filter(|_| open).map(|side| self.version_of(*side))
    }

    /// Takes the answer to a round. It says nothing about right or wrong.
    ///
    /// # Errors
    /// [`ListenError::Test`] where another round is open.
    pub fn answer(&mut self, round: usize, side: Side) -> Result<(), ListenError> {
        if round != self.open_round() || round >= self.rounds() {
            let open = self.open_round() + 1;
            let problem = format!("round {} was answered, round {open} is open", round + 1);
            return Err(ListenError::Test { problem });
        }
        self.answers.push(side);
        Ok(())
    }

    /// The result; `None` before the last answer.
    pub fn outcome(&self) -> Option<Outcome> {
        if self.answers.len() < self.x.len() {
            return None;
        }
        let rounds = self.x.len() as u64;
        let right = self.x.iter().zip(&self.answers).filter(|(x, a)| x == a).count() as u64;
        Some(Outcome {
            rounds,
            right,
            guessing: guessing(right, rounds),
            shown: is_shown(right, rounds),
            sentence: sentence(right, rounds),
            swapped: self.swapped,
            x: self.x.clone(),
            answers: self.answers.clone(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_told_before_the_last_answer() {
        let mut test = BlindTest::draw(8).unwrap();
        assert!(test.version_of_x(1).is_none());
        for round in 0..8 {
            assert!(test.outcome().is_none());
            let x = test.version_of_x(round).unwrap();
            let right = if test.version_of(Side::A) == x { Side::A } else { Side::B };
            assert!(test.answer(round + 1, right).is_err());
            test.answer(round, right).unwrap();
            assert!(test.answer(round, right).is_err());
        }
        let outcome = test.outcome().unwrap();
        assert_eq!((outcome.right, outcome.rounds, outcome.shown), (8, 8, true));
        assert!(test.version_of_x(8).is_none());
    }

    #[test]
    fn draws_differ_and_favour_no_side() {
        assert!(BlindTest::draw(7).is_err() && BlindTest::draw(21).is_err());
        let tests: Vec<_> = (0..200).map(|_| BlindTest::draw(20).unwrap()).collect();
        let of_a = tests.iter().flat_map(|t| &t.x).filter(|s| **s == Side::A).count();
        // 4000 even draws: 2000, standard deviation 32; six of them.
        assert!((1810..=2190).contains(&of_a), "{of_a}");
        let swapped = tests.iter().filter(|t| t.swapped).count();
        assert!((58..=142).contains(&swapped), "{swapped}");
    }
}
