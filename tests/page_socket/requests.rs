//! Requests: the page is served with its headers, and nothing else is.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};

use serde_json::json;

use crate::evening::{Evening, PATIENCE};
use crate::page::knock;

/// Says bytes and returns all that comes back until the other end closes.
pub fn ask(address: SocketAddr, bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    // One that hangs up on what it has not read may break the connection instead of ending it, on
    // the way out as on the way back; what it answered before is what counts.
    let _ = stream.write_all(bytes);
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

fn request(evening: &Evening, line: &str, more: &str) -> String {
    let text = format!("{line} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n{more}\r\n", evening.address);
    ask(evening.address, text.as_bytes())
}

fn status(answer: &str) -> u16 {
    answer.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0)
}

fn header<'a>(answer: &'a str, name: &str) -> Option<&'a str> {
    let head = answer.split("\r\n\r\n").next()?;
    head.lines().find_map(|line| line.split_once(": ").filter(|(known, _)| *known == name).map(|(_, value)| value))
}

#[test]
fn the_page_is_served_with_its_protections() {
    let evening = Evening::begin();
    let answer = request(&evening, "GET /", "");
    assert_eq!(status(&answer), 200);
    assert!(answer.contains("<!doctype html>") || answer.contains("<!DOCTYPE html>"));
    let head = request(&evening, "HEAD /", "");
    assert!(
        status(&head) == 200
            && head.ends_with("\r\n\r\n")
            && header(&head, "content-length") == header(&answer, "content-length")
    );
    for answer in [
        answer,
        head,
        request(&evening, "GET /none", ""),
        request(&evening, "POST /", ""),
        request(&evening, "GET /live", ""),
    ] {
        let policy = header(&answer, "content-security-policy").expect("a policy");
        for part in [
            "default-src 'none'",
            "script-src 'self'",
            "frame-ancestors 'none'",
            "form-action 'none'",
            "base-uri 'none'",
            "manifest-src 'self'",
        ] {
            assert!(policy.split("; ").any(|known| known == part), "{part} in {policy}");
        }
        assert!(!policy.contains("unsafe"));
        for (name, value) in [
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "no-referrer"),
            ("cross-origin-opener-policy", "same-origin"),
            ("cross-origin-resource-policy", "same-origin"),
            ("cache-control", "no-cache"),
        ] {
            assert_eq!(header(&answer, name), Some(value), "{answer}");
        }
        assert!(header(&answer, "permissions-policy").is_some_and(|policy| policy.contains("screen-wake-lock=(self)")));
        assert_eq!(header(&answer, "access-control-allow-origin"), None);
        assert_eq!(header(&answer, "set-cookie"), None);
    }
    let mark = request(&evening, "HEAD /", "");
    let mark = header(&mark, "etag").expect("a mark");
    assert_eq!(status(&request(&evening, "GET /", &format!("If-None-Match: {mark}\r\n"))), 304);
    assert_eq!(status(&request(&evening, "GET /", "If-None-Match: \"other\"\r\n")), 200);
}

#[test]
fn whether_the_stand_is_there_costs_headers_only() {
    let evening = Evening::begin();
    // The request leaves the connection open; the stand ends it.
    let head = format!("GET /here HTTP/1.1\r\nHost: {}\r\n\r\n", evening.address);
    let answer = ask(evening.address, head.as_bytes());
    assert_eq!(status(&answer), 204, "{answer}");
    assert!(answer.ends_with("\r\n\r\n"), "nothing but headers: {answer}");
    assert_eq!((header(&answer, "connection"), header(&answer, "cache-control")), (Some("close"), Some("no-cache")));
    assert!(header(&answer, "content-security-policy").is_some());
    let stranger = ask(evening.address, b"GET /here HTTP/1.1\r\nHost: choir.example\r\nConnection: close\r\n\r\n");
    assert_eq!(status(&stranger), 421, "{stranger}");
    assert_eq!(status(&request(&evening, "POST /here", "Content-Length: 0\r\n")), 405);
    assert!(evening.logged().is_empty(), "{:?}", evening.logged());
}

#[test]
fn no_request_changes_anything() {
    let evening = Evening::begin();
    for method in ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "PROPFIND"] {
        for path in ["/", "/live", "/next-song"] {
            let code = status(&request(&evening, &format!("{method} {path}"), "Content-Length: 0\r\n"));
            assert!(code == 405 || (method == "CONNECT" && matches!(code, 0 | 400 | 421)), "{method} {path}: {code}");
        }
    }
    for path in ["/live", "/live?do=panic", "/next-song", "/?do=next-song"] {
        assert!(matches!(status(&request(&evening, &format!("GET {path}"), "")), 200 | 403 | 404), "{path}");
    }
    assert_eq!(evening.observer.state().entry.position, 1);
    assert!(evening.logged().is_empty(), "{:?}", evening.logged());
}

#[test]
fn only_files_of_the_page_are_there() {
    let evening = Evening::begin();
    for path in [
        "/../Cargo.toml",
        "/page/../../mod.rs",
        "/..%2f..%2fetc%2fpasswd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "//etc/passwd",
        "/index.html/",
        "/./",
        "/stand.css%00",
        "/stand.css/..",
        "/etc/passwd",
        "/\\..\\..\\etc",
        "*",
    ] {
        let answer = request(&evening, &format!("GET {path}"), "");
        assert!(matches!(status(&answer), 400 | 404 | 421), "{path}: {answer}");
        assert!(!answer.contains("root:") && !answer.contains("[package]"), "{path}");
    }
}

#[test]
fn only_by_its_own_names() {
    let evening = Evening::begin();
    let port = evening.address.port();
    let get = |host: &str| {
        status(&ask(evening.address, format!("GET / HTTP/1.1\r\nConnection: close\r\n{host}\r\n").as_bytes()))
    };
    for host in [format!("localhost:{port}"), format!("127.0.0.1:{port}"), format!("[::1]:{port}")] {
        assert_eq!(get(&format!("Host: {host}\r\n")), 200, "{host}");
    }
    let machine = rustix_name();
    assert_eq!(get(&format!("Host: {machine}.local:{port}\r\n")), 200, "{machine}");
    for host in [
        "".to_owned(),
        "Host: \r\n".to_owned(),
        "Host: localhost\r\n".to_owned(),
        format!("Host: choir.example:{port}\r\n"),
        format!("Host: 127.0.0.1.choir.example:{port}\r\n"),
        format!("Host: localhost:{port}\r\nHost: choir.example:{port}\r\n"),
        format!("Host: 192.0.2.1:{port}\r\n"),
        format!("Host: localhost:{}\r\n", port ^ 1),
    ] {
        assert!(matches!(get(&host), 400 | 421), "{host}");
    }
    let whole = format!("GET http://choir.example/ HTTP/1.1\r\nHost: localhost:{port}\r\nConnection: close\r\n\r\n");
    assert_eq!(status(&ask(evening.address, whole.as_bytes())), 421);
    assert_eq!(status(&ask(evening.address, b"GET / HTTP/1.0\r\n\r\n")), 421);
}

/// The machine's name, as its own tools say it.
fn rustix_name() -> String {
    let (tool, arguments) = if cfg!(windows) { ("hostname", &[][..]) } else { ("uname", &["-n"][..]) };
    let said = std::process::Command::new(tool).args(arguments).output().expect("a tool of the system");
    let name = String::from_utf8(said.stdout).unwrap().trim().to_lowercase();
    name.split('.').next().unwrap().to_owned()
}

#[test]
fn only_the_page_of_this_stand_comes_in() {
    let evening = Evening::begin();
    let port = evening.address.port();
    let host = format!("127.0.0.1:{port}");
    for origin in [
        None,
        Some("null".to_owned()),
        Some(String::new()),
        Some("http://choir.example".to_owned()),
        Some(format!("http://choir.example:{port}")),
        Some(format!("https://{host}")),
        Some(format!("http://localhost:{port}")),
        Some("http://127.0.0.1".to_owned()),
        Some(format!("http://{host}/")),
        Some(format!("http://{host}.choir.example")),
        Some(format!("http://user@{host}")),
    ] {
        let refused = knock(evening.address, &host, origin.as_deref()).expect_err("refused");
        assert_eq!(refused, 403, "{origin:?}");
    }
    // Another name leads to this address: that page has its own name as host and origin.
    let refused = knock(evening.address, "choir.example", Some("http://choir.example")).expect_err("refused");
    assert_eq!(refused, 421);
    let there = format!("localhost:{port}");
    assert!(knock(evening.address, &there, Some(&format!("http://{there}"))).is_ok());
    let plain = request(&evening, "GET /live", &format!("Origin: http://{host}\r\n"));
    assert_eq!(status(&plain), 400, "no socket is asked for");
    assert!(evening.logged().is_empty());
}

#[test]
fn a_head_without_end_or_too_long_is_given_up() {
    let evening = Evening::begin();
    let long = format!("GET / HTTP/1.1\r\nHost: {}\r\nX: {}\r\n\r\n", evening.address, "x".repeat(1 << 20));
    assert!(matches!(status(&ask(evening.address, long.as_bytes())), 0 | 400 | 431));
    let many = format!("GET / HTTP/1.1\r\nHost: {}\r\n{}\r\n", evening.address, "X: y\r\n".repeat(2_000));
    assert!(matches!(status(&ask(evening.address, many.as_bytes())), 0 | 400 | 431));
    let began = std::time::Instant::now();
    let answer = ask(evening.address, format!("GET / HTTP/1.1\r\nHost: {}\r\n", evening.address).as_bytes());
    assert!(matches!(status(&answer), 0 | 408), "{answer}");
    assert!(began.elapsed().as_secs() >= 5, "it had its time");
    for garbage in [
        &b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03"[..],
        b"\0\0\0\0\r\n\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"\r\n\r\n\r\n\r\n",
    ] {
        let answer = ask(evening.address, garbage);
        assert!(!answer.contains("200 OK"), "{answer}");
    }
    evening.music();
    let mut page = evening.page();
    page.down(60, 80);
    assert_eq!(evening.heard().1, [0x90, 63, 80]);
    page.say(&json!({ "up": 60 }));
}
