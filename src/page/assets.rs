//! Templates, scripts, style and fonts, built into the program.

use super::refusal::Refusal;
use super::words::{ENGLISH, word};
use crate::report::plots::text::{REGULAR, SEMIBOLD};
use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

const SHELL: &str = include_str!("shell.html");
const SCRIPT: &str = "text/javascript; charset=utf-8";

/// The page that every screen is drawn into.
pub(super) async fn shell() -> Html<String> {
    // `{{key}}` stands for a word.
    let mut parts = SHELL.split("{{");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (key, rest) = part.split_once("}}").unwrap_or((part, ""));
        out += &crate::report::plots::svg::escape(word(key));
        out += rest;
    }
    Html(out)
}

/// One file of the page.
pub(super) async fn asset(Path(name): Path<String>) -> Result<Response, Refusal> {
    let script = |text: &'static str| Some((SCRIPT, text.as_bytes()));
    let found: Option<(&str, &[u8])> = match name.as_str() {
        "style.css" => Some(("text/css; charset=utf-8", include_bytes!("style.css"))),
        "regular.ttf" => Some(("font/ttf", REGULAR)),
        "semibold.ttf" => Some(("font/ttf", SEMIBOLD)),
        "words.json" => Some(("application/json", ENGLISH.as_bytes())),
        "ask.js" => script(include_str!("scripts/ask.js")),
        "blind.js" => script(include_str!("scripts/blind.js")),
        "choose.js" => script(include_str!("scripts/choose.js")),
        "claims.js" => script(include_str!("scripts/claims.js")),
        "client.js" => script(include_str!("scripts/client.js")),
        "compare.js" => script(include_str!("scripts/compare.js")),
        "devices.js" => script(include_str!("scripts/devices.js")),
        "dom.js" => script(include_str!("scripts/dom.js")),
        "dropped.js" => script(include_str!("scripts/dropped.js")),
        "engine.js" => script(include_str!("scripts/engine.js")),
        "fields.js" => script(include_str!("scripts/fields.js")),
        "jobs.js" => script(include_str!("scripts/jobs.js")),
        "limits.js" => script(include_str!("scripts/limits.js")),
        "listen.js" => script(include_str!("scripts/listen.js")),
        "main.js" => script(include_str!("scripts/main.js")),
        "manifest.js" => script(include_str!("scripts/manifest.js")),
        "new_job.js" => script(include_str!("scripts/new_job.js")),
        "player.js" => script(include_str!("scripts/player.js")),
        "predict.js" => script(include_str!("scripts/predict.js")),
        "result.js" => script(include_str!("scripts/result.js")),
        "room.js" => script(include_str!("scripts/room.js")),
        "seats.js" => script(include_str!("scripts/seats.js")),
        "sheet.js" => script(include_str!("scripts/sheet.js")),
        "sheets.js" => script(include_str!("scripts/sheets.js")),
        "sound.js" => script(include_str!("scripts/sound.js")),
        "takes.js" => script(include_str!("scripts/takes.js")),
        "volume.js" => script(include_str!("scripts/volume.js")),
        "words.js" => script(include_str!("scripts/words.js")),
        "worklet.js" => script(include_str!("scripts/worklet.js")),
        _ => None,
    };
    let (kind, bytes) =
        found.ok_or_else(|| Refusal::say(StatusCode::NOT_FOUND, "error.nothing_here"))?;
    Ok(([(header::CONTENT_TYPE, kind)], bytes).into_response())
}
