//! Requests: the files of the page, and the way to the live socket. Nothing that is requested changes anything.

use std::convert::Infallible;

use axum::body::Body;
use axum::extract::FromRequestParts;
use axum::extract::ws::WebSocketUpgrade;
use axum::http::header::{self, HeaderName};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, Method, Request, StatusCode};
use axum::response::Response;
use hyper::body::Incoming;

use super::assets::Asset;
use super::messages::LONGEST;
use super::viewer;
use super::visit::Visit;

/// The live socket.
const LIVE: &str = "/live";
/// What a page asks for that was cut off, before it opens a socket.
const HERE: &str = "/here";
/// The longest frame that is sent, and then some.
const ROOM: usize = 4 << 20;

/// Nothing from elsewhere, nothing inline, nobody around it.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; manifest-src 'self'; \
                      base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// What every answer says.
const ALWAYS: [(HeaderName, &str); 7] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "no-referrer"),
    (header::CACHE_CONTROL, "no-cache"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (
        HeaderName::from_static("permissions-policy"),
        "screen-wake-lock=(self), camera=(), microphone=(), geolocation=(), midi=(), usb=(), serial=()",
    ),
];

/// Answers a request.
pub(super) async fn answer(visit: Visit, request: Request<Incoming>) -> Result<Response, Infallible> {
    let (mut parts, _) = request.into_parts();
    visit.slot.heard();
    let mut response = match host_of(&visit, &parts) {
        None => plain(StatusCode::MISDIRECTED_REQUEST, "This stand has another name.\n"),
        Some(_) if parts.method != Method::GET && parts.method != Method::HEAD => {
            let mut response = plain(StatusCode::METHOD_NOT_ALLOWED, "Only GET and HEAD.\n");
            response.headers_mut().insert(header::ALLOW, HeaderValue::from_static("GET, HEAD"));
            response
        }
        Some(host) if parts.uri.path() == LIVE => live(visit, &host, &mut parts).await,
        Some(_) if parts.uri.path() == HERE => here(),
        Some(_) => match Asset::at(parts.uri.path()) {
            Some(asset) => file(asset, &parts.headers),
            None => plain(StatusCode::NOT_FOUND, "There is no such page.\n"),
        },
    };
    let headers = response.headers_mut();
    for (name, value) in ALWAYS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    Ok(response)
}

/// The name by which this stand is called, if it is its own.
fn host_of(visit: &Visit, parts: &Parts) -> Option<String> {
    let host = only(&parts.headers, &header::HOST)?;
    // A whole address instead of a path would name another host.
    let is_own = parts.uri.authority().is_none() && visit.hub.hosts.knows(host, visit.ends.at);
    is_own.then(|| host.to_owned())
}

/// The value of a header that stands there once.
fn only<'h>(headers: &'h HeaderMap, name: &HeaderName) -> Option<&'h str> {
    let mut values = headers.get_all(name).iter();
    let value = values.next()?;
    if values.next().is_some() { None } else { value.to_str().ok() }
}

/// That the stand can be reached: headers and nothing else, on a connection that holds its slot no longer than that.
fn here() -> Response {
    let mut response = Response::new(Body::empty());
    *response.status_mut() = StatusCode::NO_CONTENT;
    response.headers_mut().insert(header::CONNECTION, HeaderValue::from_static("close"));
    response
}

/// The live socket, for a page that came from here.
async fn live(visit: Visit, host: &str, parts: &mut Parts) -> Response {
    let origin = only(&parts.headers, &header::ORIGIN);
    if !origin.is_some_and(|origin| origin.eq_ignore_ascii_case(&format!("http://{host}"))) {
        return plain(StatusCode::FORBIDDEN, "Only the page of this stand may come in here.\n");
    }
    match WebSocketUpgrade::from_request_parts(parts, &()).await {
        Err(_) => plain(StatusCode::BAD_REQUEST, "This is the live socket of the page.\n"),
        Ok(upgrade) => upgrade
            .max_message_size(LONGEST)
            .max_frame_size(LONGEST)
            .read_buffer_size(4 * LONGEST)
            .write_buffer_size(0)
            .max_write_buffer_size(ROOM)
            .on_upgrade(move |socket| viewer::attend(visit, socket)),
    }
}

fn file(asset: &Asset, headers: &HeaderMap) -> Response {
    let mark = asset.mark();
    let known = headers.get_all(header::IF_NONE_MATCH).iter().filter_map(|value| value.to_str().ok());
    let has_it = known.flat_map(|value| value.split(',')).any(|known| known.trim().trim_start_matches("W/") == mark);
    let mut response = if has_it { Response::new(Body::empty()) } else { Response::new(Body::from(asset.bytes)) };
    if has_it {
        *response.status_mut() = StatusCode::NOT_MODIFIED;
    } else {
        response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(asset.kind));
    }
    if let Ok(mark) = HeaderValue::from_str(&mark) {
        response.headers_mut().insert(header::ETAG, mark);
    }
    response
}

fn plain(status: StatusCode, words: &'static str) -> Response {
    let mut response = Response::new(Body::from(words));
    *response.status_mut() = status;
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("text/plain; charset=utf-8"));
    response
}
