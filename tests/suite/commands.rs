//! The real program, started as people and supervisors start it: what it prints, where, and with which exit code.
//!
//! Exit 0 done, 1 it does not hold or failed, 2 the input is wrong. Nothing here reaches into the program; records are
//! looked at beside it.

mod copies;
mod demo;
mod holidays;
mod import;
mod log;
mod rules;
mod serve;
mod staff;

use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek, Write};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use crate::support::{Client, TestDatabase};

/// How long any command may take here before the test gives up on it.
const PATIENCE: Duration = Duration::from_secs(60);

/// How a command ended.
#[derive(Debug)]
struct Ended {
    code: Option<i32>,
    out: String,
    err: String,
}

impl Ended {
    /// Fails unless it ended with this code.
    #[track_caller]
    fn expect(self, code: i32) -> Self {
        assert_eq!(self.code, Some(code), "{self:?}");
        self
    }

    /// Fails unless the input was refused: exit 2, nothing on standard output, these words on standard error.
    #[track_caller]
    fn refused(self, words: &str) -> Self {
        let ended = self.expect(2);
        assert_eq!(ended.out, "", "{ended:?}");
        assert!(ended.err.contains(words), "“{words}” is not in: {ended:?}");
        ended
    }
}

/// The program with these arguments and no setting of whoever runs the tests.
fn roundel(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_roundel"));
    for (name, _) in std::env::vars().filter(|(name, _)| name.starts_with("ROUNDEL_")) {
        command.env_remove(name);
    }
    command.args(args).stdin(Stdio::null());
    command
}

/// The program on this database.
fn on(db: &TestDatabase, args: &[&str]) -> Command {
    let mut command = roundel(args);
    command.env("ROUNDEL_DATABASE_URL", db.url());
    command
}

fn wait(child: &mut Child) -> ExitStatus {
    let until = Instant::now() + PATIENCE;
    loop {
        if let Some(status) = child.try_wait().expect("a child") {
            return status;
        }
        if Instant::now() > until {
            child.kill().expect("an end");
            child.wait().expect("an end");
            panic!("the command did not end by itself");
        }
        std::thread::sleep(Duration::from_millis(4));
    }
}

/// Runs a command to its end.
fn ended(command: &mut Command) -> Ended {
    // Files, not pipes: a pipe that nobody reads would stop a command that says much.
    let (mut out, mut err) = (tempfile::tempfile().expect("a file"), tempfile::tempfile().expect("a file"));
    let again = |file: &File| file.try_clone().expect("the same file");
    let mut child = command.stdout(again(&out)).stderr(again(&err)).spawn().expect("the program starts");
    let status = wait(&mut child);
    let text = |file: &mut File| {
        let mut text = String::new();
        file.rewind().expect("the start");
        file.read_to_string(&mut text).expect("UTF-8");
        text
    };
    Ended { code: status.code(), out: text(&mut out), err: text(&mut err) }
}

/// Runs a command to its end with this on its standard input.
fn ended_with_input(command: &mut Command, input: &str) -> Ended {
    let mut file = tempfile::tempfile().expect("a file");
    file.write_all(input.as_bytes()).and_then(|()| file.rewind()).expect("the input");
    ended(command.stdin(file))
}

/// A command that goes on: `serve` or `demo`. It is ended when this is dropped.
struct Running {
    child: Child,
    /// What it said until it was ready.
    said: String,
    /// `http://127.0.0.1:PORT`
    base: String,
}

impl Running {
    /// Starts it and waits for the line that holds `last`.
    fn start(command: &mut Command, last: &str) -> Self {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("the program starts");
        let lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let (tell, told) = mpsc::channel();
        std::thread::spawn(move || lines.map_while(Result::ok).for_each(|line| drop(tell.send(line))));
        let mut running = Self { child, said: String::new(), base: String::new() };
        while !running.said.contains(last) {
            let line = told.recv_timeout(PATIENCE);
            let line = line.unwrap_or_else(|_| panic!("it ended or said too little: {:?}", running.said));
            running.said.push_str(&line);
            running.said.push(char::from(10));
        }
        let address = running.said.split_once("http://").map(|(_, rest)| rest.split(['/', '\n']).next().unwrap_or(""));
        running.base = format!("http://{}", address.expect("an address"));
        running
    }

    /// `serve` on this database and any free port.
    fn serve(db: &TestDatabase) -> Self {
        Self::start(on(db, &["serve"]).env("ROUNDEL_LISTEN", "127.0.0.1:0"), "listens on")
    }

    /// Address and port.
    fn address(&self) -> &str {
        self.base.trim_start_matches("http://")
    }

    /// Somebody who is not signed in.
    fn anonymous(&self) -> Client {
        let http = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).no_proxy().build();
        Client::new(http.expect("a client"), &self.base)
    }

    /// Tells it to stop, as a supervisor does; answers how it ended.
    fn stop(mut self) -> ExitStatus {
        let told = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        assert!(told.expect("kill").success());
        wait(&mut self.child)
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// Adds the first staff member, and with it the service “Example Community Health”; answers the path of their link.
fn add_staff(db: &TestDatabase, name: &str, sign_in_name: &str, role: &str) -> String {
    let args = ["staff", "add", name, sign_in_name, "--role", role, "--service", "Example Community Health"];
    let said = ended(&mut on(db, &args)).expect(0).out;
    let link = said.lines().find_map(|line| line.split_once("/link/")).map(|(_, token)| token.trim().to_owned());
    format!("/link/{}", link.unwrap_or_else(|| panic!("no link in {said}")))
}

#[test]
fn every_command_explains_itself() {
    let commands: [&[&str]; 18] = [
        &[],
        &["demo"],
        &["serve"],
        &["migrate"],
        &["staff"],
        &["staff", "add"],
        &["import"],
        &["import", "caseload"],
        &["holidays"],
        &["holidays", "load"],
        &["audit"],
        &["audit", "verify"],
        &["rules"],
        &["backup"],
        &["restore"],
        &["healthcheck"],
        &["help"],
        &["help", "serve"],
    ];
    for command in commands {
        let mut args = command.to_vec();
        if command.first() != Some(&"help") {
            args.push("--help");
        }
        let said = ended(&mut roundel(&args)).expect(0);
        assert!(said.out.contains("Usage: roundel"), "{args:?}: {said:?}");
        assert_eq!(said.err, "", "{args:?}");
    }
    // The list of the help and the list above are the same.
    let help = ended(&mut roundel(&["--help"])).expect(0).out;
    let names: Vec<&str> = help.lines().skip_while(|line| *line != "Commands:").skip(1).collect();
    let names = names.into_iter().take_while(|line| !line.is_empty());
    let names: Vec<&str> =
        names.filter(|l| !l.starts_with("   ")).filter_map(|l| l.split_whitespace().next()).collect();
    for name in &names {
        assert!(commands.iter().any(|command| command.first() == Some(name)), "{name} is not tried");
    }
    assert!(names.len() >= 11, "{names:?}");
    let version = ended(&mut roundel(&["--version"])).expect(0).out;
    assert_eq!(version.trim(), format!("roundel {}", env!("CARGO_PKG_VERSION")));
}

#[test]
fn a_command_line_that_is_no_command_is_refused() {
    for (args, words) in [
        (vec![], "Usage"),
        (vec!["serv"], "serv"),
        (vec!["serve", "--port", "1"], "--port"),
        (vec!["rules"], "ENGINE"),
        (vec!["rules", "moon"], "skin-map"),
        (vec!["backup"], "FILE"),
        (vec!["audit", "verify", "--from", "yesterday"], "yesterday"),
        (vec!["staff", "add", "Ann"], "--role"),
    ] {
        ended(&mut roundel(&args)).refused(words);
    }
}
