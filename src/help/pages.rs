//! Page structs of the help.

use askama::Template;

use super::words::{Guide, Job, Topic};
use crate::web::shell::Shell;

/// `GET /help`
#[derive(Template)]
#[template(path = "help/index.html")]
pub struct IndexPage {
    /// Frame.
    pub shell: Shell,
    /// The three jobs, with the topic each belongs to.
    pub jobs: Vec<(&'static Topic, &'static Job)>,
    /// All topics.
    pub topics: &'static [Topic],
    /// When the network fails.
    pub network: &'static [String],
    /// All guides.
    pub guides: &'static [Guide],
}

/// `GET /help/{topic}`
#[derive(Template)]
#[template(path = "help/topic.html")]
pub struct TopicPage {
    /// Frame.
    pub shell: Shell,
    /// The topic.
    pub topic: &'static Topic,
}

/// `GET /help/guides/{role}`
#[derive(Template)]
#[template(path = "help/guide.html")]
pub struct GuidePage {
    /// Frame.
    pub shell: Shell,
    /// The guide.
    pub guide: &'static Guide,
    /// When the network fails.
    pub network: &'static [String],
    /// Version of the program.
    pub version: &'static str,
}
