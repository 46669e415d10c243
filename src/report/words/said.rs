//! A finding beside what is said of it: analysis gives the one, this layer the other.

use serde::Serialize;
use std::ops::Deref;

/// A finding and its words. In JSON both stand side by side in one object.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Said<F, W = Sentence> {
    /// What was found.
    #[serde(flatten)]
    pub found: F,
    /// What is said of it.
    #[serde(flatten)]
    pub words: W,
}

/// One plain sentence, or a few that belong together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Sentence {
    /// With a full stop.
    pub sentence: String,
}

/// A sentence, and what to do where anything is to be done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Advised {
    /// With a full stop.
    pub sentence: String,
    /// With a full stop; absent when nothing is to be done.
    pub advice: Option<String>,
}

/// Sentences, each with a full stop: a list, or a few that belong together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Statement<S = Vec<String>> {
    /// In the order of telling.
    pub statement: S,
}

impl<F, S> Said<F, Statement<S>> {
    /// A finding with its sentences.
    pub fn stated(found: F, say: impl Fn(&F) -> S) -> Self {
        let statement = say(&found);
        Self { found, words: Statement { statement } }
    }
}

impl<F> Said<F, Statement> {
    /// Its sentences.
    pub fn statement(&self) -> &[String] {
        &self.words.statement
    }
}

impl<F> Said<F> {
    /// A finding with its sentence.
    pub fn new(found: F, say: impl Fn(&F) -> String) -> Self {
        let sentence = say(&found);
        Self { found, words: Sentence { sentence } }
    }

    pub fn sentence(&self) -> &str {
        &self.words.sentence
    }
}

/// The numbers are read as if they stood alone.
impl<F, W> Deref for Said<F, W> {
    type Target = F;
    fn deref(&self) -> &F {
        &self.found
    }
}
