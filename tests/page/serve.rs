//! The server as it runs: on loopback alone, and closed by itself.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use tugback::checks::Settings;
use tugback::page::{Opened, Options, Shelf, serve};

fn opened(folder: &std::path::Path) -> Opened {
    Opened {
        shelf: Shelf::Folder(folder.to_owned()),
        settings: Settings::default(),
        who: "A. Reader".into(),
        start: None,
        record: None,
    }
}

/// What a plain client gets for these lines, and the status.
fn ask(host: &str, lines: &str) -> (u16, String) {
    let mut stream = TcpStream::connect(host).expect("a connection");
    stream.set_read_timeout(Some(Duration::from_secs(5))).expect("a timeout");
    write!(stream, "{}\r\nconnection: close\r\n\r\n", lines.replace('\n', "\r\n")).expect("sent");
    let mut text = String::new();
    let _ = stream.read_to_string(&mut text);
    let status = text.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
    (status, text)
}

#[test]
fn it_answers_this_computer_and_closes_when_nobody_asks() {
    let folder = tempfile::tempdir().unwrap();
    let (tell, told) = std::sync::mpsc::channel();
    let options = Options { port: 0, idle: Duration::from_millis(600) };
    let opened = opened(folder.path());
    let server = std::thread::spawn(move || serve(opened, options, |a| tell.send(a.to_owned()).unwrap()));
    let address = told.recv_timeout(Duration::from_secs(10)).expect("an address");
    let start = Instant::now();
    let (host, token) = address.strip_prefix("http://").unwrap().split_once("/#t=").unwrap();
    assert!(host.starts_with("127.0.0.1:"), "{host}");
    assert_eq!(token.len(), 64, "256 bits");
    assert_eq!(ask(host, &format!("GET / HTTP/1.1\nhost: {host}")).0, 200);
    let (status, text) = ask(host, "GET / HTTP/1.1\nhost: evil.example");
    assert_eq!(status, 421, "{text}");
    assert_eq!(ask(host, &format!("GET /api/desk HTTP/1.1\nhost: {host}")).0, 401);
    assert_eq!(
        ask(host, &format!("GET http://evil.example/ HTTP/1.1\nhost: {host}")).0,
        200,
        "our own shell"
    );
    assert_eq!(ask(host, "GET / HTTP/1.1").0, 421, "a request without a host");
    server.join().expect("no panic").expect("it closes well");
    assert!(start.elapsed() < Duration::from_secs(20));
    assert!(TcpStream::connect(host).is_err(), "nobody listens any more");
}

#[test]
fn a_port_that_is_taken_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port();
    let options = Options { port, idle: Duration::from_secs(1) };
    let said = serve(opened(folder.path()), options, |_| {}).unwrap_err().to_string();
    assert!(said.contains(&format!("port {port}")) && said.contains("--port"), "{said}");
}
