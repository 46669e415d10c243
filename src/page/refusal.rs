//! What cannot be done, as an answer that the page can show.

use super::words::word;
use crate::words::with_causes;
use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use std::fmt::Display;
use std::path::Path;

/// An answer that says why something was not done.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Refusal {
    #[serde(skip)]
    status: StatusCode,
    /// A sentence for people, with what to do.
    message: String,
    /// The field of a form that it is about, as a path of keys.
    #[serde(skip_serializing_if = "Option::is_none")]
    field: Option<String>,
}

impl Refusal {
    /// With a status and a sentence that is ready.
    pub(super) fn new(status: StatusCode, message: impl Into<String>) -> Self {
        Self { status, message: message.into(), field: None }
    }

    /// With words of the page.
    pub(super) fn say(status: StatusCode, key: &str) -> Self {
        Self::new(status, word(key))
    }

    /// What was sent cannot be used.
    pub(super) fn bad(message: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, message)
    }

    /// The same without the way to a file in `folder`: where it lies on the server is nobody's business.
    pub(super) fn hiding(mut self, folder: &Path) -> Self {
        let way = folder.join("").display().to_string();
        self.message = self.message.replace(&way, "");
        self
    }

    /// The same, said at a field.
    pub(super) fn at(mut self, field: impl Display) -> Self {
        self.field = Some(field.to_string());
        self
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        (self.status, Json(&self)).into_response()
    }
}

// An error of the library and its causes.
macro_rules! from_errors {
    ($($error:ty),*) => {$(
        impl From<$error> for Refusal {
            fn from(error: $error) -> Self {
                Self::bad(with_causes(&error))
            }
        }
    )*};
}

from_errors!(
    crate::analysis::compare::CompareError,
    crate::analysis::predict::PlanError,
    crate::analysis::predict::describe::DescribeError,
    crate::ingest::blind_tests::BlindTestError,
    crate::ingest::error::IngestError,
    crate::import::ImportError,
    crate::chain::ChainError,
    crate::jobs::names::NameError,
    crate::jobs::room::RoomError,
    crate::listen::ListenError,
    crate::report::error::ReportError,
    crate::job::JobError
);

impl From<std::io::Error> for Refusal {
    fn from(error: std::io::Error) -> Self {
        let text = format!("{} ({error})", word("error.disk"));
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, text)
    }
}
