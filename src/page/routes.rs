//! Which address does what.

use super::desk::Desk;
use super::guard::guard;
use super::refusal::Refusal;
use super::{
    aside, assets, blind, board, bring_in, events, forecast, jobs, level, listen, new_job, record,
    result, settings, sheets, side_by_side, sweep_out,
};
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post, put};
use std::sync::Arc;

/// Largest form, bytes. Recordings go another way and have limits of their own.
const FORM_BYTES: usize = 1 << 20;

/// All addresses, behind the guard.
pub(super) fn router(desk: Arc<Desk>) -> Router {
    let job = Router::new()
        .route("/settings", get(settings::settings).post(settings::save))
        .route("/board", get(board::board))
        .route("/sweep", get(sweep_out::sweep_out))
        .route("/level", post(level::level))
        .route("/take", post(record::record))
        .route("/aside", post(aside::aside))
        .route("/upload", put(bring_in::upload))
        .route("/import", post(bring_in::bring_in))
        .route("/result", get(result::result))
        .route("/report/{*name}", get(result::report_file))
        .route("/events", get(events::events))
        .route("/listen", get(listen::choices))
        .route("/listen/hear", post(listen::hear))
        .route("/listen/sound", put(listen::own_sound))
        .route("/listen/heard/{number}/{version}", get(listen::version))
        .route("/listen/test", post(blind::begin))
        .route("/listen/test/{test}/{round}/{key}", get(blind::play))
        .route("/listen/test/{test}/answer", post(blind::answer))
        .route("/listen/test/{test}/keep", post(blind::keep));
    Router::new()
        .route("/", get(assets::shell))
        .route("/new", get(assets::shell))
        .route("/predict", get(assets::shell))
        .route("/compare", get(assets::shell))
        .route("/choose", get(assets::shell))
        .route("/job/{job}/{screen}", get(assets::shell))
        .route("/assets/{name}", get(assets::asset))
        .route("/api/jobs", get(jobs::jobs).post(new_job::new_job))
        .route("/api/predict", post(forecast::predict))
        .route("/api/sheets", get(sheets::overview).post(sheets::sheets))
        .route("/api/choose", post(sheets::choice))
        .route("/api/compare", post(side_by_side::side_by_side))
        .route("/papers/{number}/{name}", get(side_by_side::paper))
        .nest("/api/jobs/{job}", job)
        .fallback(nothing_here)
        .layer(DefaultBodyLimit::max(FORM_BYTES))
        .layer(from_fn_with_state(Arc::clone(&desk), guard))
        .with_state(desk)
}

async fn nothing_here() -> Refusal {
    Refusal::say(StatusCode::NOT_FOUND, "error.nothing_here")
}
