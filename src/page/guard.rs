//! Who may ask, and what a browser may do with the answers.
//!
//! A page from elsewhere in the same browser can send requests here, but neither with this
//! host and origin nor with the cookie; a name that is made to point here has another host.

use super::desk::Desk;
use super::secret::same;
use super::words::word;
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// Everything from this server, nothing inline, nothing from elsewhere.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' \
                      data:; font-src 'self'; connect-src 'self'; worker-src 'self'; frame-src \
                      'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Lets a request through, or answers it here.
pub(super) async fn guard(State(desk): State<Arc<Desk>>, request: Request, next: Next) -> Response {
    let response = match admit(&desk, &request) {
        Admitted::In => next.run(request).await,
        Admitted::Welcome => welcome(&desk),
        Admitted::Not(status, key) => (status, word(key).to_owned()).into_response(),
    };
    with_headers(response)
}

enum Admitted {
    In,
    /// Came with the token: gets the cookie and goes on to the page.
    Welcome,
    Not(StatusCode, &'static str),
}

fn admit(desk: &Desk, request: &Request) -> Admitted {
    let headers = request.headers();
    let own = [format!("127.0.0.1:{}", desk.port), format!("localhost:{}", desk.port)];
    let only = |name: HeaderName| {
        let mut all = headers.get_all(name).iter();
        let first = all.next().and_then(|v| v.to_str().ok());
        // Two of them could mean one thing here and another elsewhere.
        first.filter(|_| all.next().is_none())
    };
    let Some(host) = only(header::HOST).filter(|host| own.iter().any(|o| o == host)) else {
        return Admitted::Not(StatusCode::FORBIDDEN, "error.host");
    };
    let origin_is_own = match headers.get(header::ORIGIN) {
        Some(_) => only(header::ORIGIN).is_some_and(|o| o == format!("http://{host}")),
        // Browsers say where a request that changes something comes from.
        None => matches!(*request.method(), Method::GET | Method::HEAD),
    };
    let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
    let site_is_own = matches!(site, None | Some(b"same-origin" | b"none"));
    if let Some(token) = token_of(request.uri()).filter(|_| request.method() == Method::GET) {
        return if origin_is_own && desk.lets_in(token) {
            Admitted::Welcome
        } else {
            Admitted::Not(StatusCode::FORBIDDEN, "error.token")
        };
    }
    if !origin_is_own || !site_is_own {
        return Admitted::Not(StatusCode::FORBIDDEN, "error.origin");
    }
    if !has_cookie(desk, headers) {
        return Admitted::Not(StatusCode::UNAUTHORIZED, "error.cookie");
    }
    Admitted::In
}

/// `?token=...` at the root.
fn token_of(uri: &Uri) -> Option<&str> {
    let query = uri.query().filter(|_| uri.path() == "/")?;
    query.split('&').find_map(|pair| pair.strip_prefix("token="))
}

fn has_cookie(desk: &Desk, headers: &HeaderMap) -> bool {
    let (name, value) = desk.cookie();
    let pairs = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok());
    pairs
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .any(|(n, v)| n == name && same(v, value))
}

fn welcome(desk: &Desk) -> Response {
    let (name, value) = desk.cookie();
    let cookie = format!("{name}={value}; HttpOnly; SameSite=Strict; Path=/");
    (StatusCode::SEE_OTHER, [(header::SET_COOKIE, cookie), (header::LOCATION, "/".into())])
        .into_response()
}

/// Headers of every answer; a policy that is there already is a narrower one.
fn with_headers(mut response: Response) -> Response {
    let headers = response.headers_mut();
    let mut set = |name: &'static str, value: &'static str| {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    };
    set("content-security-policy", POLICY);
    set("x-content-type-options", "nosniff");
    set("referrer-policy", "no-referrer");
    set("cross-origin-resource-policy", "same-origin");
    set("cross-origin-opener-policy", "same-origin");
    set(
        "permissions-policy",
        "microphone=(self), speaker-selection=(self), camera=(), geolocation=()",
    );
    set("cache-control", "no-store");
    response
}
