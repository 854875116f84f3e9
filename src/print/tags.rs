//! What the text means: the tree that a screen reader follows, built beside the layout.
//!
//! A leaf is a text that may lie in several places (lines, pages); the writer marks each place and the marks come
//! together here. Nothing here knows where anything stands.

use std::num::NonZeroU16;

use krilla::tagging::{Identifier, ListNumbering, TableHeaderScope, Tag, TagGroup, TagKind, TagTree};

/// Number of a leaf in a document, from 0 in the order of making.
pub type Leaf = usize;

/// What a part of the document is.
#[derive(Clone, Debug)]
pub enum Role {
    /// A heading of a level, with its text.
    Heading(u8, String),
    /// Running text.
    Paragraph,
    /// A group of paragraphs, as a note.
    Group,
    /// A list of labels and values.
    List,
    /// One label with its value.
    Item,
    /// The label.
    Label,
    /// The value.
    Value,
    /// A table.
    Table,
    /// Its caption.
    Caption,
    /// The row of column heads.
    Head,
    /// The other rows.
    Rows,
    /// One row.
    Row,
    /// Head of a column.
    ColumnHead,
    /// Any other cell.
    Cell,
}

impl Role {
    fn tag(self) -> TagKind {
        match self {
            Self::Heading(level, text) => {
                Tag::Hn(NonZeroU16::new(u16::from(level)).unwrap_or(NonZeroU16::MIN), Some(text)).into()
            }
            Self::Paragraph => Tag::P.into(),
            Self::Group => Tag::Div.into(),
            Self::List => Tag::L(ListNumbering::None).into(),
            Self::Item => Tag::LI.into(),
            Self::Label => Tag::Lbl.into(),
            Self::Value => Tag::LBody.into(),
            Self::Table => Tag::Table.into(),
            Self::Caption => Tag::Caption.into(),
            Self::Head => Tag::THead.into(),
            Self::Rows => Tag::TBody.into(),
            Self::Row => Tag::TR.into(),
            Self::ColumnHead => Tag::TH(TableHeaderScope::Column).into(),
            Self::Cell => Tag::TD.into(),
        }
    }
}

/// A part with its parts.
#[derive(Clone, Debug)]
pub struct Branch {
    role: Role,
    parts: Vec<Part>,
}

#[derive(Clone, Debug)]
enum Part {
    Text(Leaf),
    Branch(Branch),
}

impl Branch {
    /// A part that has others.
    pub fn of(role: Role, parts: Vec<Branch>) -> Self {
        Self { role, parts: parts.into_iter().map(Part::Branch).collect() }
    }

    /// A part that is one text.
    pub fn text(role: Role, leaf: Leaf) -> Self {
        Self { role, parts: vec![Part::Text(leaf)] }
    }

    fn build(self, marks: &mut Marks) -> TagGroup {
        let mut group = TagGroup::new(self.role.tag());
        for part in self.parts {
            match part {
                Part::Text(leaf) => marks.take(leaf).into_iter().for_each(|mark| group.push(mark)),
                Part::Branch(branch) => group.push(branch.build(marks)),
            }
        }
        group
    }
}

/// The places at which each leaf was drawn.
pub struct Marks(Vec<Vec<Identifier>>);

impl Marks {
    /// For a document of so many leaves.
    pub fn new(leaves: usize) -> Self {
        Self(vec![Vec::new(); leaves])
    }

    /// One more place of a leaf.
    pub fn add(&mut self, leaf: Leaf, place: Identifier) {
        if let Some(places) = self.0.get_mut(leaf) {
            places.push(place);
        }
    }

    fn take(&mut self, leaf: Leaf) -> Vec<Identifier> {
        self.0.get_mut(leaf).map(std::mem::take).unwrap_or_default()
    }
}

/// The whole tree, in reading order.
pub fn tree(language: &str, branches: Vec<Branch>, mut marks: Marks) -> TagTree {
    let mut tree = TagTree::new().with_lang(Some(language.to_owned()));
    for branch in branches {
        tree.push(branch.build(&mut marks));
    }
    tree
}
