//! The faces in the program and the order in which they are asked for a character.
//!
//! Text is set in Atkinson Hyperlegible Next. A word it cannot write (Vietnamese, Yoruba, Greek, Cyrillic) is set in Noto
//! Sans, an arrow or a tick in Noto Sans Symbols, both cut down to what may come. This file knows faces, no layout.

use std::sync::LazyLock;

use krilla::text::Font;

use super::PrintError;

/// Regular or bold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Weight {
    /// Running text.
    Regular,
    /// Headings, table heads, the identity strip.
    Bold,
}

/// Which of the faces; an index into the list below.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FaceId(usize);

/// A face twice: as the PDF writer embeds it and as the shaper reads it.
pub struct Face {
    /// For embedding.
    pub font: Font,
    /// For shaping and for asking which characters there are.
    pub shaper: rustybuzz::Face<'static>,
}

const FILES: [(&str, &[u8]); 5] = [
    ("Atkinson Regular", include_bytes!("../../static/fonts/pdf/AtkinsonHyperlegibleNext-Regular.ttf")),
    ("Atkinson Bold", include_bytes!("../../static/fonts/pdf/AtkinsonHyperlegibleNext-Bold.ttf")),
    ("Noto Regular", include_bytes!("../../static/fonts/pdf/NotoSans-Regular.subset.ttf")),
    ("Noto Bold", include_bytes!("../../static/fonts/pdf/NotoSans-Bold.subset.ttf")),
    ("Noto Symbols", include_bytes!("../../static/fonts/pdf/NotoSansSymbols.subset.ttf")),
];

static FACES: LazyLock<Result<Vec<Face>, &'static str>> =
    LazyLock::new(|| FILES.iter().map(|(name, bytes)| read(bytes).ok_or(*name)).collect());

fn read(bytes: &'static [u8]) -> Option<Face> {
    Some(Face { font: Font::new(bytes.to_vec().into(), 0)?, shaper: rustybuzz::Face::from_slice(bytes, 0)? })
}

/// All faces, read once.
#[derive(Clone, Copy)]
pub struct Faces(&'static [Face]);

impl Faces {
    /// The faces, or the name of one that cannot be read.
    pub fn get() -> Result<Self, PrintError> {
        match &*FACES {
            Ok(faces) => Ok(Self(faces)),
            Err(name) => Err(PrintError::Font(name)),
        }
    }

    /// One of them. An id only comes from [`Faces::chain`] and so is always there.
    pub fn face(self, id: FaceId) -> &'static Face {
        &self.0[id.0]
    }

    /// The faces to ask in turn for a text of this weight. The symbols have one weight.
    pub fn chain(weight: Weight) -> [FaceId; 3] {
        match weight {
            Weight::Regular => [FaceId(0), FaceId(2), FaceId(4)],
            Weight::Bold => [FaceId(1), FaceId(3), FaceId(4)],
        }
    }

    /// True if the face can write every character of the text.
    pub fn covers(self, id: FaceId, text: &str) -> bool {
        text.chars().all(|c| self.face(id).shaper.glyph_index(c).is_some())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every character of the languages of the British Isles and of the European Union's Latin alphabets, and the signs
    /// that letters use, stand in the first face, so that an ordinary letter never mixes faces.
    #[test]
    fn first_face_writes_the_latin_alphabets_of_europe() {
        let faces = Faces::get().unwrap();
        let letters = "ÀÁÂÃÄÅÆÇÈÉÊËÌÍÎÏÐÑÒÓÔÕÖØÙÚÛÜÝÞßàáâãäåæçèéêëìíîïðñòóôõöøùúûüýþÿ\
            ĀāĂăĄąĆćĊċČčĎďĐđĒēĖėĘęĚěĞğĠġĢģĦħĪīĮįİıĶķĹĺĻļĽľŁłŃńŅņŇňŐőŒœŔŕŘřŚśŞşŠšȘșȚțŤťŪūŮůŰűŲųŴŵŶŷŸŹźŻżŽž\
            ẀẁẂẃẄẅỲỳẞ–—‘’“”…•·×÷±≤≥≠≈½¼¾°²³©®€£§†№";
        for weight in [Weight::Regular, Weight::Bold] {
            let [first, wide, _] = Faces::chain(weight);
            let missing: String = letters.chars().filter(|c| !faces.covers(first, &c.to_string())).collect();
            assert_eq!(missing, "№", "only the numero sign is left to the second face");
            assert!(faces.covers(wide, "№"));
        }
    }
}
