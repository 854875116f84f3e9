//! From the bytes of an upload to a clean picture: decoded within limits, turned upright, made smaller, encoded anew.
//!
//! Nothing of the file as it came is kept: neither place, time, camera and thumbnail, nor whatever else was hidden in it.
//! It must not guess: what is no whole JPEG or PNG is refused.

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::imageops::FilterType;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};
use thiserror::Error;

/// Largest upload, bytes. Local: a telephone's photograph has 2 to 8 MB.
pub const LARGEST_FILE: usize = 16 * 1024 * 1024;
/// Longest side of a picture that is read, pixels (local, against pictures made to fill the memory).
const LONGEST_READ: u32 = 12_000;
/// Most pixels that are read: telephones make up to 50 million.
const MOST_PIXELS: u64 = 50_000_000;
/// Most memory that decoding may take, bytes.
const MOST_MEMORY: u64 = 320 * 1024 * 1024;
/// Longest side of a picture that is kept, pixels: enough to see the skin, small enough for the database (local).
const LONGEST_KEPT: u32 = 1_600;
/// Quality of the JPEG that is kept, of 100 (local).
const QUALITY: u8 = 85;

/// A picture as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// A JPEG of ours, without anything but the picture.
    pub jpeg: Vec<u8>,
    /// Pixels.
    pub width: u32,
    /// Pixels.
    pub height: u32,
}

/// Why there is no picture; the words are for the form.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum PictureError {
    /// Nothing came.
    #[error("Choose the photograph first")]
    Empty,
    /// Neither JPEG nor PNG, whatever its name says.
    #[error("Choose a photograph in the form JPEG or PNG")]
    Kind,
    /// Too many pixels.
    #[error("The photograph has too many pixels: make it smaller, at most 50 million")]
    TooLarge,
    /// Damaged or cut off.
    #[error("The photograph is damaged or did not arrive whole: choose it again")]
    Damaged,
}

/// Makes a clean picture.
///
/// # Errors
/// [`PictureError`]; nothing is repaired.
pub fn clean(file: &[u8]) -> Result<Picture, PictureError> {
    if file.is_empty() {
        return Err(PictureError::Empty);
    }
    let mut reader = ImageReader::new(Cursor::new(file)).with_guessed_format().map_err(|_| PictureError::Kind)?;
    if !matches!(reader.format(), Some(ImageFormat::Jpeg | ImageFormat::Png)) {
        return Err(PictureError::Kind);
    }
    if reader.format() == Some(ImageFormat::Jpeg) && !ends_whole(file) {
        return Err(PictureError::Damaged);
    }
    let mut limits = Limits::default();
    limits.max_image_width = Some(LONGEST_READ);
    limits.max_image_height = Some(LONGEST_READ);
    limits.max_alloc = Some(MOST_MEMORY);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|fault| refused(&fault))?;
    let (width, height) = decoder.dimensions();
    if u64::from(width) * u64::from(height) > MOST_PIXELS {
        return Err(PictureError::TooLarge);
    }
    // The camera's note on how it was held goes with all the rest, so the picture itself is turned.
    let upright = decoder.orientation().map_err(|fault| refused(&fault))?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(|fault| refused(&fault))?;
    picture.apply_orientation(upright);
    if picture.width().max(picture.height()) > LONGEST_KEPT {
        picture = picture.resize(LONGEST_KEPT, LONGEST_KEPT, FilterType::Triangle);
    }
    let plain = picture.to_rgb8();
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY).encode_image(&plain).map_err(|fault| refused(&fault))?;
    Ok(Picture { jpeg, width: plain.width(), height: plain.height() })
}

/// True when the JPEG has its end mark: a decoder would fill a cut-off picture with grey and say nothing.
fn ends_whole(file: &[u8]) -> bool {
    file.windows(2).rev().any(|pair| pair == [0xFF, 0xD9])
}

fn refused(fault: &image::ImageError) -> PictureError {
    match fault {
        image::ImageError::Limits(_) => PictureError::TooLarge,
        _ => PictureError::Damaged,
    }
}
