//! What an answered write may be relied on for: it is on disk, whole, alone, and a crash takes nothing of it back.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use diesel::prelude::*;
use futures_util::future::join_all;
use roundel::access::places;
use roundel::access::roles::Role;
use roundel::access::{secrets, store};
use roundel::audit::{Event, append, store::verify};
use roundel::clock::Clock;
use roundel::db::connection::{Door, Manager};
use roundel::db::ids::{ServiceId, StaffId};
use roundel::db::schema::sites;
use roundel::db::{Actor, Address, Conn, Db, Stamp, StoreError, Tx, dialect};

use crate::both_backends;
use crate::support::app::Hands;
use crate::support::client::form;
use crate::support::{Backend, Client, TestDatabase, raw};

/// Records with one service, and somebody to write in it.
fn records(db: &TestDatabase) -> (Db, Actor) {
    records_by(db, Hands::new().clock())
}

fn records_by(db: &TestDatabase, clock: Clock) -> (Db, Actor) {
    let records = db.open(clock);
    let service = store::new_service("Example Community Health", "england", false, Stamp::new(Hands::new().now()));
    let actor = Actor::command("test", Some(service.id));
    let made = records.write_now(&actor, move |tx| {
        store::add_service(tx, &service)?;
        append(tx, Event::create("service"))?;
        Ok::<_, StoreError>(())
    });
    made.expect("a service");
    (records, actor)
}

/// The simplest write there is: a site, and its event.
fn add_site(tx: &mut Tx<'_>, name: &str) -> Result<(), StoreError> {
    places::add(tx, name)?;
    append(tx, Event::create("site")).map(drop)
}

fn site_names(conn: &mut Conn) -> Vec<String> {
    sites::table.select(sites::name).order(sites::name).load(conn).expect("the sites")
}

fn holds(db: &TestDatabase) -> i64 {
    verify(&mut db.outside(), None, &[], |_, _| {}).expect("the log holds").last
}

// --- settings of the connections ------------------------------------------------------------------------------------

#[test]
fn sqlite_is_set_to_lose_nothing() {
    let db = TestDatabase::new(Backend::Sqlite);
    let (records, _) = records(&db);
    // Journal, synchronous (2 is FULL), foreign keys: as sqlite.org's pages on PRAGMA number them.
    let wanted = ["wal", "2", "1"].map(str::to_owned).to_vec();
    assert_eq!(dialect::sqlite_settings(&mut db.outside()).expect("the settings"), wanted);
    let reader = records.read_now(dialect::sqlite_settings).expect("the settings");
    assert_eq!(reader, wanted);
}

both_backends! {
    fn a_row_that_refers_to_nothing_is_refused(db: TestDatabase) {
        let (records, _) = records(&db);
        let stranger = Actor::command("test", Some(ServiceId::new()));
        let refused = records.write_now(&stranger, |tx| add_site(tx, "Nowhere"));
        assert!(matches!(refused, Err(StoreError::Backend(_))), "{refused:?}");
        assert_eq!(raw::count(&mut db.outside(), "sites"), 0);
    }

    fn the_read_door_does_not_write(db: TestDatabase) {
        let (records, _) = records(&db);
        let tried: Result<usize, StoreError> = records.read_now(|conn| {
            Ok(diesel::sql_query("UPDATE services SET name = 'Another'").execute(conn)?)
        });
        assert!(matches!(tried, Err(StoreError::Backend(_))), "{tried:?}");
        assert_eq!(raw::count(&mut db.outside(), "services WHERE name = 'Another'"), 0);
    }

    fn a_page_reads_one_state_throughout(db: TestDatabase) {
        let (records, actor) = records(&db);
        let before_and_after = records.read_now(|conn| {
            let before = site_names(conn).len();
            records.write_now(&actor, |tx| add_site(tx, "Hall"))?;
            Ok::<_, StoreError>((before, site_names(conn).len()))
        });
        assert_eq!(before_and_after.expect("a read"), (0, 0));
        assert_eq!(records.read_now(|conn| Ok::<_, StoreError>(site_names(conn).len())).expect("a read"), 1);
    }

    /// The lock is taken when a write begins, so that two writers never read first and then fail.
    fn a_write_takes_its_lock_when_it_begins(db: TestDatabase) {
        let mut first = db.outside();
        let mut second = db.outside();
        let impatient = match db.backend {
            Backend::Sqlite => "PRAGMA busy_timeout = 50",
            Backend::Postgres => "SET lock_timeout = '50ms'",
        };
        raw::run(&mut second, impatient).expect("a setting");
        dialect::begin_write(&mut first).expect("the lock is free");
        let refused = dialect::begin_write(&mut second);
        assert!(matches!(refused, Err(StoreError::Busy(_))), "{refused:?}");
        dialect::commit(&mut first).expect("a commit");
        dialect::begin_write(&mut second).expect("the lock is free again");
        dialect::roll_back(&mut second);
    }

    // --- one write -------------------------------------------------------------------------------------------------

    fn a_write_without_an_event_is_refused_and_leaves_nothing(db: TestDatabase) {
        let (records, actor) = records(&db);
        let events = holds(&db);
        let refused = records.write_now(&actor, |tx| {
            places::add(tx, "Secret").map(drop)
        });
        assert!(matches!(refused, Err(StoreError::Unaudited)), "{refused:?}");
        assert_eq!(raw::count(&mut db.outside(), "sites"), 0);
        assert_eq!(holds(&db), events);
    }

    fn a_write_that_fails_half_way_leaves_nothing(db: TestDatabase) {
        let (records, actor) = records(&db);
        let events = holds(&db);
        let failed: Result<(), StoreError> = records.write_now(&actor, |tx| {
            add_site(tx, "Hall")?;
            Err(StoreError::Stale)
        });
        assert!(matches!(failed, Err(StoreError::Stale)), "{failed:?}");
        assert_eq!(raw::count(&mut db.outside(), "sites"), 0);
        assert_eq!(holds(&db), events);
    }

    // --- many writes -----------------------------------------------------------------------------------------------

    async fn sixty_four_writers_at_once_are_all_answered(db: TestDatabase) {
        let (records, actor) = records(&db);
        let events = holds(&db);
        let writes = (0..64).map(|n| records.write(&actor, move |tx| add_site(tx, &format!("Site {n:02}"))));
        for done in join_all(writes).await {
            done.expect("an acknowledged write");
        }
        let names: Vec<String> = (0..64).map(|n| format!("Site {n:02}")).collect();
        assert_eq!(site_names(&mut db.outside()), names);
        assert_eq!(holds(&db), events + 64);
    }

    async fn one_that_fails_does_not_take_others_with_it(db: TestDatabase) {
        let (records, actor) = records(&db);
        let (gate, opened) = mpsc::channel::<()>();
        // Holds the writer until the others wait behind it, so that SQLite commits them together.
        let first = records.write(&actor, move |tx| {
            let _ = opened.recv_timeout(Duration::from_secs(10));
            add_site(tx, "Site 0")
        });
        let others = (1..16).map(|n| {
            // The eighth takes a name that is taken.
            let name = format!("Site {}", if n == 8 { 0 } else { n });
            records.write(&actor, move |tx| add_site(tx, &name))
        });
        let opens = async {
            tokio::time::sleep(Duration::from_millis(300)).await;
            drop(gate);
        };
        let (first, others, ()) = tokio::join!(first, join_all(others), opens);
        first.expect("the first is written");
        for (n, done) in (1..).zip(others) {
            match n {
                8 => assert!(matches!(done, Err(StoreError::Conflict(_))), "{done:?}"),
                _ => done.expect("an acknowledged write"),
            }
        }
        assert_eq!(site_names(&mut db.outside()).len(), 15);
        holds(&db);
    }

    async fn a_write_that_panics_is_answered_and_the_next_one_works(db: TestDatabase) {
        let (records, actor) = records(&db);
        let events = holds(&db);
        let panicked: Result<(), StoreError> = records
            .write(&actor, |tx| {
                add_site(tx, "Never")?;
                panic!("a fault that a test wants");
            })
            .await;
        match db.backend {
            Backend::Sqlite => assert!(matches!(panicked, Err(StoreError::Busy(_))), "{panicked:?}"),
            Backend::Postgres => assert!(panicked.is_err()),
        }
        assert_eq!(raw::count(&mut db.outside(), "sites"), 0);
        records.write(&actor, |tx| add_site(tx, "After")).await.expect("the next write works");
        assert_eq!(holds(&db), events + 1);
    }

    /// Two programs on one database, as two instances of the service or a command beside it.
    fn two_programs_write_one_chain(db: TestDatabase) {
        let (_, actor) = records(&db);
        let events = holds(&db);
        let programs: Vec<_> = ["east", "west"]
            .into_iter()
            .map(|side| {
                let (records, actor) = (db.open(Clock::system()), actor.clone());
                std::thread::spawn(move || {
                    for n in 0..40 {
                        let name = format!("{side} {n}");
                        records.write_now(&actor, move |tx| add_site(tx, &name)).expect("an acknowledged write");
                    }
                })
            })
            .collect();
        for program in programs {
            program.join().expect("no panic");
        }
        assert_eq!(raw::count(&mut db.outside(), "sites"), 80);
        assert_eq!(holds(&db), events + 80);
    }
}

#[test]
fn a_copy_made_while_writing_is_whole() {
    let db = TestDatabase::new(Backend::Sqlite);
    let (records, actor) = records(&db);
    let writing = {
        let (records, actor) = (records.clone(), actor);
        std::thread::spawn(move || {
            for n in 0..200 {
                records.write_now(&actor, move |tx| add_site(tx, &format!("Site {n}"))).expect("a write");
            }
        })
    };
    std::thread::sleep(Duration::from_millis(20));
    let copy = db.folder().join("copy.db");
    dialect::copy_to(&mut db.outside(), &copy.to_string_lossy()).expect("a copy");
    writing.join().expect("no panic");
    let mut copied = Manager { address: Address::Sqlite(copy), door: Door::Write }.open().expect("the copy opens");
    dialect::check_whole(&mut copied).expect("the copy is whole");
    let last = verify(&mut copied, None, &[], |_, _| {}).expect("its log holds").last;
    // One event for the service, one for each site: nothing half-done was copied.
    assert_eq!(raw::count(&mut copied, "sites"), last - 1);
}

// --- a crash ------------------------------------------------------------------------------------------------------------

const CHILD: &str = "ROUNDEL_TEST_WRITE_UNTIL_KILLED";

/// Not a test of its own: the program that [`killed_while_writing`] kills. Says each write once it is acknowledged.
#[test]
#[ignore = "started and killed by killed_while_writing"]
fn write_until_killed() {
    let Ok(given) = std::env::var(CHILD) else { return };
    let (service, url) = given.split_once(' ').expect("a service and an address");
    let address = Address::parse(url).expect("an address");
    let actor = Actor::command("test", Some(service.parse().expect("an id")));
    let records = Db::open(address, Clock::system(), false, roundel::derive::derive).expect("the database opens");
    let writers: Vec<_> = (0..8)
        .map(|writer| {
            let (records, actor) = (records.clone(), actor.clone());
            std::thread::spawn(move || {
                for n in 0.. {
                    let name = format!("{}-{writer}-{n}", std::process::id());
                    let site = name.clone();
                    records.write_now(&actor, move |tx| add_site(tx, &site)).expect("a write");
                    println!("acknowledged {name}");
                }
            })
        })
        .collect();
    for writer in writers {
        writer.join().expect("no panic");
    }
}

/// Lets a program write until some writes are acknowledged, kills it at once, and answers all that it had acknowledged.
fn acknowledged_before_a_kill(url: &str, service: ServiceId, writes: usize) -> Vec<String> {
    let mut child = Command::new(std::env::current_exe().expect("this program"))
        .args(["--exact", "durability::write_until_killed", "--ignored", "--nocapture"])
        .env(CHILD, format!("{service} {url}"))
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut names = Vec::new();
    for line in BufReader::new(child.stdout.take().expect("its output")).lines() {
        let line = line.expect("text");
        // The harness writes its own words in front of the first line.
        if let Some((_, name)) = line.split_once("acknowledged ") {
            names.push(name.to_owned());
        }
        if names.len() == writes {
            child.kill().expect("SIGKILL");
        }
    }
    let ended = child.wait().expect("it ended");
    assert!(!ended.success(), "it was killed");
    assert!(names.len() >= writes, "it ended before it was killed: {names:?}");
    names
}

both_backends! {
    /// kill -9 in the midst of eight writers, three times on the same database: what was acknowledged is there, what is
    /// there has its event, and the log holds.
    fn killed_while_writing(db: TestDatabase) {
        let (records, actor) = records(&db);
        let service = actor.service_id.expect("a service");
        drop(records);
        let mut acknowledged = Vec::new();
        for writes in [40, 150, 300] {
            acknowledged.extend(acknowledged_before_a_kill(&db.url(), service, writes));
        }
        // Opened anew as the service would: the log of an interrupted SQLite is played in.
        let records = db.open(Hands::new().clock());
        let there = records.read_now(|conn| Ok::<_, StoreError>(site_names(conn))).expect("the sites");
        let lost: Vec<&String> = acknowledged.iter().filter(|name| there.binary_search(name).is_err()).collect();
        assert!(lost.is_empty(), "acknowledged and lost: {lost:?}");
        dialect::check_whole(&mut db.outside()).expect("the file is whole");
        assert_eq!(holds(&db), 1 + i64::try_from(there.len()).expect("a number"));
    }
}

/// Somebody who may add staff, signed in by the machine's own clock: reference and form token.
fn administrator(records: &Db, service: ServiceId) -> (StaffId, String, String) {
    let (reference, token) = (secrets::fresh().expect("a reference"), secrets::fresh().expect("a token"));
    let (hash, form_token) = (secrets::hash(&reference), token.clone());
    let now = Stamp::new(records.clock().now());
    let row = store::new_staff(service, "administrator@clinic.example", "Administrator", now);
    let id = row.id;
    let made = records.write_now(&Actor::command("test", Some(service)), move |tx| {
        store::add_staff(tx, &row, &[Role::Administrator])?;
        store::open_session(tx, &row, &hash, &form_token)?;
        append(tx, Event::create("test.setup")).map(drop)
    });
    made.map_err(|error: StoreError| error).expect("somebody signed in");
    (id, reference, token)
}

/// The real program, serving; killed when it is dropped.
struct Serving {
    child: Child,
    base: String,
}

impl Serving {
    fn on(db: &TestDatabase) -> Self {
        let child = Command::new(env!("CARGO_BIN_EXE_roundel"))
            .arg("serve")
            .env("ROUNDEL_DATABASE_URL", db.url())
            .env("ROUNDEL_LISTEN", "127.0.0.1:0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn();
        let mut serving = Self { child: child.expect("the program starts"), base: String::new() };
        let mut said = String::new();
        BufReader::new(serving.child.stdout.take().expect("its output")).read_line(&mut said).expect("text");
        let address = said.find("http://").map(|at| said[at..].trim().to_owned());
        serving.base = address.unwrap_or_else(|| panic!("no address in {said:?}"));
        serving
    }

    /// SIGKILL: nothing in it runs any more.
    fn kill(&mut self) {
        self.child.kill().expect("SIGKILL");
        self.child.wait().expect("it ended");
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        self.kill();
    }
}

both_backends! {
    /// The same by the front door: people press Save, the program is killed, and what they were told was done is there.
    async fn killed_while_serving(db: TestDatabase) {
        let (records, actor) = records_by(&db, Clock::system());
        let service = actor.service_id.expect("a service");
        let (staff, reference, token) = administrator(&records, service);
        drop(records);
        let mut serving = Serving::on(&db);
        let base = serving.base.clone();
        let http = || reqwest::Client::builder().no_proxy().build().expect("a client");
        let (tell, told) = mpsc::channel();
        let pressing = (0..6).map(|person| {
            let client = Client::new(http(), &base).with_session(staff, &reference, &token);
            let (tell, token) = (tell.clone(), token.as_str());
            async move {
                for n in 0.. {
                    let name = format!("member-{person}-{n}@clinic.example");
                    let once = roundel::once::fresh();
                    let fields = [
                        ("name", "Robin Example"),
                        ("sign_in_name", name.as_str()),
                        ("roles", "nurse"),
                        ("csrf", token),
                        ("once", once.as_str()),
                    ];
                    let request = client.request(reqwest::Method::POST, "/staff");
                    // No answer: it was killed meanwhile, and nothing was promised.
                    let Ok(answer) = form(request, &fields).send().await else { return };
                    assert_eq!(answer.status().as_u16(), 200, "{name}");
                    tell.send(name).expect("a test that listens");
                }
            }
        });
        let mut promised = Vec::new();
        let killing = async {
            while promised.len() < 60 {
                tokio::time::sleep(Duration::from_millis(2)).await;
                promised.extend(told.try_iter());
            }
            serving.kill();
        };
        tokio::join!(join_all(pressing), killing);
        promised.extend(told.try_iter());

        let again = Serving::on(&db);
        let page = Client::new(http(), &again.base).with_session(staff, &reference, &token).get("/staff").await.expect(200);
        let lost: Vec<&String> = promised.iter().filter(|name| !page.text.contains(*name)).collect();
        assert!(lost.is_empty(), "promised and lost: {lost:?}");
        holds(&db);
    }
}
