//! `roundel healthcheck`: for containers and supervisors, so that no other program is needed for it.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use super::Ended;

const PATIENCE: Duration = Duration::from_secs(5);

/// Exit 0 when `/readyz` answers 200.
pub fn run(address: &str) -> Result<(), Ended> {
    let not_ready = |why: String| Ended::Failed(format!("{address} is not ready: {why}"));
    let mut stream = TcpStream::connect(address).map_err(|e| not_ready(e.to_string()))?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    let request = format!("GET /readyz HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).map_err(|e| not_ready(e.to_string()))?;
    let mut answer = String::new();
    stream.take(4_096).read_to_string(&mut answer).map_err(|e| not_ready(e.to_string()))?;
    let first = answer.lines().next().unwrap_or("no answer");
    let well = first.starts_with("HTTP/1.") && first.split(' ').nth(1) == Some("200");
    if well { Ok(()) } else { Err(not_ready(first.to_owned())) }
}
