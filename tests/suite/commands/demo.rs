//! `roundel demo`: says where it is and how to sign in as everybody; a second run finds the same people.

use roundel::access::roles::{ALL, first_page, permissions_of};
use roundel::db::Address;
use roundel::db::connection::{Door, Manager};

use super::{Running, ended, roundel};
use crate::support::{block_on, raw};

fn demo(folder: &std::path::Path, seed: &str) -> Running {
    let mut command = roundel(&["demo", "--port", "0", "--data", folder.to_str().expect("plain text"), "--seed", seed]);
    Running::start(&mut command, "Stop with")
}

/// Ids and names of everybody in the demonstration's file.
fn everybody(folder: &std::path::Path) -> Vec<String> {
    let address = Address::Sqlite(folder.join("demo.db"));
    let mut conn = Manager { address, door: Door::Read }.open().expect("the file");
    let sql =
        "SELECT hex(id) || ' ' || family_name || ' ' || given_name || ' ' || born_on AS text FROM patients ORDER BY id";
    raw::texts(&mut conn, sql)
}

#[test]
fn it_says_where_and_how_and_is_the_same_the_second_time() {
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().join("new");
    let running = demo(&data, "1");
    assert!(running.base.starts_with("http://127.0.0.1:"), "this machine only: {}", running.base);
    assert!(running.said.contains("is made"), "{}", running.said);
    block_on(async {
        // Who is not signed in yet must see it too: the sign-in page, and what is not there.
        for (path, status) in [("/sign-in", 200), ("/sign-in?ended=true", 200), ("/nothing", 404), ("/link/none", 400)]
        {
            let page = running.anonymous().get(path).await.expect(status);
            assert!(page.words().contains("Demonstration: invented people"), "{path}: {}", page.words());
        }
        for role in ALL {
            let line = running.said.lines().find(|line| line.ends_with(&format!("({})", role.word())));
            let line = line.unwrap_or_else(|| panic!("no sign-in for {}: {}", role.word(), running.said));
            let name = line.split_whitespace().next().expect("a name");
            let password = line.split(['“', '”']).nth(1).expect("a password");
            let client = running.anonymous();
            let page = client.post_only("/sign-in", &[("user", name), ("password", password)]).await.expect(303);
            assert_eq!(page.location().as_deref(), Some(first_page(&permissions_of(&[role]))), "{}", role.word());
            let page = client.follow("/").await.expect(200);
            assert!(page.words().contains("Demonstration: invented people"), "{}", page.words());
        }
    });
    assert_eq!(running.said.matches("password “").count(), ALL.len());
    drop(running);
    let first = everybody(&data);
    assert_eq!(first.len(), 48);
    // Another seed does not make other people beside them.
    for seed in ["1", "2"] {
        let again = demo(&data, seed);
        assert!(again.said.contains("was there already"), "{}", again.said);
        drop(again);
        assert_eq!(everybody(&data), first);
    }
}

#[test]
fn what_it_cannot_do_is_said() {
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().join("data");
    std::fs::write(&data, "a file").expect("a file");
    let text = data.to_str().expect("plain text");
    ended(&mut roundel(&["demo", "--port", "0", "--data", text])).refused("cannot be made");
    ended(&mut roundel(&["demo", "--patients", "5", "--data", text])).refused("24");
    ended(&mut roundel(&["demo", "--port", "http", "--data", text])).refused("--port");
}
