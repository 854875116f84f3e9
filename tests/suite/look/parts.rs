//! The living page of all parts: it calls every macro of `templates/parts/`, copies none, and is in the demonstration only.

use roundel::access::roles::Role;

use super::Ground;
use crate::support::{Backend, TestApp, block_on};

/// Macros that others are made of; they are seen through those.
const INNER: [&str; 6] = ["label_words", "notes", "input", "pick", "cells", "range_part"];

fn macros() -> Vec<String> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("templates/parts");
    let mut names = Vec::new();
    for file in std::fs::read_dir(folder).unwrap() {
        let text = std::fs::read_to_string(file.unwrap().path()).unwrap();
        let found = text.split("{%").filter_map(|part| part.trim_start_matches('-').trim().strip_prefix("macro "));
        names.extend(found.filter_map(|part| part.split_once('(')).map(|(name, _)| name.trim().to_owned()));
    }
    names.retain(|name| !INNER.contains(&name.as_str()));
    names
}

#[test]
fn every_macro_is_on_the_page_and_none_is_copied() {
    let page = include_str!("../../../templates/web/components.html");
    let names = macros();
    assert!(names.len() > 20, "{names:?}");
    for name in names {
        assert!(page.contains(&format!("::{name}(")), "{name} is not on templates/web/components.html");
    }
    for word in ["<input", "<button", "<fieldset", "<table", "<svg", "class=\"tag", "class=\"message", "class=\"band"] {
        assert!(!page.contains(word), "the page of parts holds {word}: call the macro");
    }
}

#[test]
fn it_is_there_for_everybody_in_the_demonstration_and_nowhere_else() {
    block_on(async {
        let real = TestApp::start(Backend::Sqlite);
        real.as_role(Role::Nurse).get("/account/components").await.expect(404);
        let ground = Ground::new();
        let page = ground.client(Some(Role::Administrator)).get("/account/components").await.expect(200);
        assert_eq!(page.select_text(".stage h3").len(), 6, "the banner in every state");
        for kind in ["done", "note", "refused"] {
            assert!(page.has(&format!(".side .message.{kind}")), "{kind}");
        }
        for key in ["same-day", "one-working-day", "five-working-days", "ten-working-days", "as-planned"] {
            assert!(page.has(&format!(".band.{key}")), "{key}");
        }
        for field in [".field .hint", ".field.wrong .error", ".carried-forward .carried", ".optional", ".unit"] {
            assert!(page.has(field), "{field}");
        }
        ground.client(None).get("/account/components").await.expect(303);
    });
}

#[test]
fn nothing_is_done_by_its_buttons() {
    block_on(async {
        let ground = Ground::new();
        let nurse = ground.client(Some(Role::Nurse));
        nurse.get("/account/components").await.expect(200);
        let before = ground.app.last_event();
        let page = nurse.post("/account/components", &[]).await.expect(303);
        assert_eq!(page.location().as_deref(), Some("/account/components"));
        assert_eq!(ground.app.last_event(), before);
    });
}
