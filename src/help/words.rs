//! The words of the help, read once from the two files, and which topic fits which page. Pure.

use std::sync::LazyLock;

use serde::Deserialize;

/// One topic.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Topic {
    /// Its address under `/help/`.
    pub id: String,
    /// Title.
    pub title: String,
    /// Routes to which it belongs, as `routes.rs` writes them.
    #[serde(default)]
    pub routes: Vec<String>,
    /// What the page is for.
    pub what: String,
    /// What to do, step by step.
    #[serde(default)]
    pub jobs: Vec<Job>,
    /// What to know.
    #[serde(default)]
    pub know: Vec<String>,
    /// How to take something back.
    #[serde(default)]
    pub undo: Vec<String>,
}

/// Something done step by step.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Job {
    /// What is done.
    pub title: String,
    /// The steps.
    pub steps: Vec<String>,
    /// One of the three jobs that stand on the first page of the help.
    #[serde(default)]
    pub first: bool,
}

/// A guide of one page for one role.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Guide {
    /// Role code.
    pub role: String,
    /// "Guide for the nurse".
    pub title: String,
    /// What the role is for here.
    pub what: String,
    /// Jobs step by step.
    pub jobs: Vec<Job>,
    /// What to mind.
    pub mind: Vec<String>,
    /// How to take something back.
    pub undo: Vec<String>,
    /// Whom to ask.
    pub ask: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Topics {
    topic: Vec<Topic>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Guides {
    /// When the network fails: the same on every guide and on the page of the help.
    network: Vec<String>,
    guide: Vec<Guide>,
}

static TOPICS: LazyLock<Result<Topics, String>> =
    LazyLock::new(|| toml::from_str(include_str!("topics.toml")).map_err(|e| e.to_string()));
static GUIDES: LazyLock<Result<Guides, String>> =
    LazyLock::new(|| toml::from_str(include_str!("guides.toml")).map_err(|e| e.to_string()));

/// All topics, in the order of the first page of the help.
pub fn topics() -> &'static [Topic] {
    TOPICS.as_ref().map_or(&[], |read| &read.topic)
}

/// All guides, in the order of the roles.
pub fn guides() -> &'static [Guide] {
    GUIDES.as_ref().map_or(&[], |read| &read.guide)
}

/// What to do when the network fails.
pub fn network() -> &'static [String] {
    GUIDES.as_ref().map_or(&[], |read| &read.network)
}

/// What is wrong with the two files; empty, as a test proves.
pub fn faults() -> Vec<String> {
    [TOPICS.as_ref().err(), GUIDES.as_ref().err()].into_iter().flatten().cloned().collect()
}

/// The topic with this address.
pub fn topic(id: &str) -> Option<&'static Topic> {
    topics().iter().find(|topic| topic.id == id)
}

/// The guide for this role.
pub fn guide(role: &str) -> Option<&'static Guide> {
    guides().iter().find(|guide| guide.role == role)
}

/// The topic that fits a page: of the routes that begin the page's, the longest.
pub fn topic_for(route: &str) -> Option<&'static Topic> {
    let begins = |listed: &String| {
        route.strip_prefix(listed.as_str()).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    };
    let of = |topic: &'static Topic| topic.routes.iter().filter(|r| begins(r)).map(String::len).max();
    topics().iter().filter_map(|topic| Some((of(topic)?, topic))).max_by_key(|(length, _)| *length).map(|(_, t)| t)
}

/// Where the help link of a page leads: to the topic that fits, else to the first page of the help.
pub fn address_for(route: &str) -> String {
    topic_for(route).map_or_else(|| "/help".to_owned(), |topic| format!("/help/{}", topic.id))
}
