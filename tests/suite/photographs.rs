//! Photographs through HTTP on both databases: consent first, nothing of the camera kept, never cached, every look logged.

use std::io::Cursor;

use image::{ImageFormat, Rgb, RgbImage};
use reqwest::Method;
use roundel::access::roles::Role;
use roundel::skin::photographs::picture::{PictureError, clean};

use crate::both_backends;
use crate::support::{Client, Page, Someone, raw};

const LINE: &str = "roundel-test-boundary";
const NHS: &str = "999 000 0042";

/// A picture whose left half is red: 6 wide, 4 high.
fn sample() -> RgbImage {
    RgbImage::from_fn(6, 4, |x, _| if x < 3 { Rgb([200, 30, 30]) } else { Rgb([30, 30, 200]) })
}

fn encoded(picture: &RgbImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Vec::new();
    picture.write_to(&mut Cursor::new(&mut bytes), format).expect("a picture");
    bytes
}

/// A JPEG with an Exif segment (Exif 2.3, TIFF in little endian): how the camera was held, and a place at 51° north.
fn with_exif(jpeg: &[u8], orientation: u8) -> Vec<u8> {
    let mut tiff: Vec<u8> = b"II\x2a\x00\x08\x00\x00\x00".to_vec();
    tiff.extend([2, 0]);
    // 0x0112 orientation, one short; 0x8825 pointer to the place.
    tiff.extend([0x12, 0x01, 3, 0, 1, 0, 0, 0, orientation, 0, 0, 0]);
    tiff.extend([0x25, 0x88, 4, 0, 1, 0, 0, 0, 38, 0, 0, 0]);
    tiff.extend([0, 0, 0, 0]);
    // Place: latitude reference "N", latitude as three fractions.
    tiff.extend([2, 0]);
    tiff.extend([1, 0, 2, 0, 2, 0, 0, 0, b'N', 0, 0, 0]);
    tiff.extend([2, 0, 5, 0, 3, 0, 0, 0, 68, 0, 0, 0]);
    tiff.extend([0, 0, 0, 0]);
    for number in [51_u32, 1, 27, 1, 0, 1] {
        tiff.extend(number.to_le_bytes());
    }
    let mut segment = b"Exif\0\0".to_vec();
    segment.extend(tiff);
    segment.extend(b"INVENTED CAMERA 51.45N");
    let length = u16::try_from(segment.len() + 2).unwrap().to_be_bytes();
    let mut file = jpeg[..2].to_vec();
    file.extend([0xFF, 0xE1]);
    file.extend(length);
    file.extend(segment);
    file.extend(&jpeg[2..]);
    file
}

fn has(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}

#[test]
fn nothing_of_the_camera_is_kept_and_the_picture_stands_upright() {
    let jpeg = encoded(&sample(), ImageFormat::Jpeg);
    let file = with_exif(&jpeg, 6); // held so that it must be turned a quarter to the right
    assert!(has(&file, b"Exif") && has(&file, b"INVENTED CAMERA"));
    let made = clean(&file).expect("a picture");
    for part in [&b"Exif"[..], b"INVENTED CAMERA", b"51.45N", b"\xFF\xE1"] {
        assert!(!has(&made.jpeg, part), "{part:?} is still there");
    }
    assert_eq!((made.width, made.height), (4, 6), "turned");
    let shown = image::load_from_memory(&made.jpeg).expect("our own JPEG").to_rgb8();
    // The left half has become the upper half.
    assert!(shown.get_pixel(1, 0)[0] > 120 && shown.get_pixel(1, 5)[2] > 120, "{:?}", shown.get_pixel(1, 0));
    let png = clean(&encoded(&sample(), ImageFormat::Png)).expect("a PNG is taken");
    assert_eq!(&png.jpeg[..3], b"\xFF\xD8\xFF", "and kept as JPEG");
}

#[test]
fn what_is_no_whole_picture_is_refused() {
    let jpeg = encoded(&sample(), ImageFormat::Jpeg);
    assert_eq!(clean(b""), Err(PictureError::Empty));
    for lie in [&b"<script>alert(1)</script>"[..], b"%PDF-1.7\n", b"GIF89a\x01\x00\x01\x00", b"<svg xmlns='x'/>"] {
        assert_eq!(clean(lie), Err(PictureError::Kind));
    }
    assert_eq!(clean(&jpeg[..jpeg.len() / 2]), Err(PictureError::Damaged), "cut off");
    assert_eq!(clean(b"\xFF\xD8\xFF\xE0rubbish\xFF\xD9"), Err(PictureError::Damaged));
    // What hangs on behind is gone.
    let mut polyglot = jpeg;
    polyglot.extend(b"PK\x03\x04hidden");
    assert!(!has(&clean(&polyglot).expect("a picture").jpeg, b"hidden"));
}

#[test]
fn a_picture_made_to_fill_the_memory_is_refused_before_it_is_decoded() {
    // A PNG that says it has 60,000 × 60,000 pixels and holds next to nothing.
    let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut head = b"IHDR".to_vec();
    head.extend(60_000_u32.to_be_bytes());
    head.extend(60_000_u32.to_be_bytes());
    head.extend([8, 2, 0, 0, 0]);
    png.extend(13_u32.to_be_bytes());
    png.extend(&head);
    png.extend(crc32(&head).to_be_bytes());
    assert_eq!(clean(&png), Err(PictureError::TooLarge));
    let large = RgbImage::from_pixel(2_000, 900, Rgb([90, 60, 50]));
    let made = clean(&encoded(&large, ImageFormat::Jpeg)).expect("a picture");
    assert_eq!((made.width, made.height), (1_600, 720), "made smaller");
}

/// PNG's check sum (ISO 3309), bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    let mut crc = u32::MAX;
    for byte in bytes {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 };
        }
    }
    !crc
}

async fn send(who: &Client, of: &Someone, fields: &[(&str, &str)], file: &[u8]) -> Page {
    let page = who.get(&format!("/patients/{}/photographs", of.id)).await;
    let once = page.value("once").unwrap_or_default();
    let token = who.token().unwrap_or_default();
    let mut body = Vec::new();
    for (name, value) in [("csrf", token.as_str()), ("once", once.as_str())].into_iter().chain(fields.iter().copied()) {
        let part = format!("--{LINE}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
        body.extend_from_slice(part.as_bytes());
    }
    let head = "Content-Disposition: form-data; name=\"file\"; filename=\"../../x.jpg\"\r\nContent-Type: image/jpeg";
    body.extend_from_slice(format!("--{LINE}\r\n{head}\r\n\r\n").as_bytes());
    body.extend_from_slice(file);
    body.extend_from_slice(format!("\r\n--{LINE}--\r\n").as_bytes());
    let request = who.request(Method::POST, &format!("/patients/{}/photographs", of.id));
    let request = request.header("content-type", format!("multipart/form-data; boundary={LINE}"));
    who.send(request.body(body)).await
}

const WRITTEN: [(&str, &str); 3] = [("taken_on", "today"), ("consent", "written"), ("what", "Skin at six o'clock")];

both_backends! {
    async fn a_photograph_is_kept_with_consent_and_every_look_is_logged(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let file = with_exif(&encoded(&sample(), ImageFormat::Jpeg), 1);
        // Without consent nothing is kept, and what was typed comes back.
        let back = send(&nurse, &held, &[("taken_on", "today"), ("what", "Skin at six o'clock")], &file).await.expect(422);
        assert!(back.select_text("#error-summary li").join(" ").contains("consent"), "{}", back.words());
        assert_eq!(back.value("what").as_deref(), Some("Skin at six o'clock"));
        let back = send(&nurse, &held, &[("taken_on", "today"), ("consent", "spoken")], &file).await.expect(422);
        assert!(back.words().contains("Note how the consent was given"));
        assert_eq!(raw::count(&mut app.outside(), "photographs"), 0);
        send(&nurse, &held, &WRITTEN, &file).await.expect(303);
        assert_eq!(raw::count(&mut app.outside(), "photographs"), 1);
        let before = app.last_event();
        let page = nurse.get(&format!("/patients/{}/photographs", held.id)).await.expect(200);
        assert!(page.words().contains("Consent: Written") && page.words().contains("Skin at six o'clock"));
        let src = page.attributes("figure.photograph img", "src").remove(0);
        let picture = nurse.get(&src).await.expect(200);
        assert_eq!(picture.header("content-type"), Some("image/jpeg"));
        assert!(picture.header("cache-control").is_some_and(|v| v.contains("no-store")), "{:?}", picture.header("cache-control"));
        assert_eq!(picture.header("x-content-type-options"), Some("nosniff"));
        assert!(!has(&picture.bytes, b"Exif") && !has(&picture.bytes, b"INVENTED CAMERA"));
        let events = app.events_after(before);
        let looked: Vec<&str> = events.iter().map(|e| e.what.as_str()).collect();
        assert_eq!(looked, ["patient.photographs", "photograph.picture"]);
        assert!(events.iter().all(|e| app.subjects_of(e.seq) == [held.id]));
        // Sent twice from one page, it is kept once.
        let again = send(&nurse, &held, &WRITTEN, &file).await;
        again.expect(303);
        assert_eq!(raw::count(&mut app.outside(), "photographs"), 2, "another page, another photograph");
    }

    async fn a_lie_in_the_name_is_refused(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        let back = send(&nurse, &held, &WRITTEN, b"<html><script>alert(1)</script>").await.expect(422);
        assert!(back.words().contains("JPEG or PNG"));
        let back = send(&nurse, &held, &WRITTEN, b"").await.expect(422);
        assert!(back.words().contains("Choose the photograph first"));
        assert_eq!(raw::count(&mut app.outside(), "photographs"), 0);
    }

    async fn consent_can_be_withdrawn_and_the_picture_is_gone(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        send(&nurse, &held, &WRITTEN, &encoded(&sample(), ImageFormat::Png)).await.expect(303);
        let list = format!("/patients/{}/photographs", held.id);
        let page = nurse.get(&list).await;
        let src = page.attributes("figure.photograph img", "src").remove(0);
        let remove = page.attributes("figure.photograph form", "action").remove(0);
        nurse.post(&remove, &[("reason", "x")]).await.expect(400);
        nurse.get(&src).await.expect(200);
        nurse.post(&remove, &[("reason", "Consent withdrawn by telephone")]).await.expect(303);
        nurse.get(&src).await.expect(404);
        assert_eq!(raw::count(&mut app.outside(), "photographs WHERE content IS NULL"), 1);
        let page = nurse.get(&list).await;
        assert!(page.words().contains("Consent withdrawn by telephone") && !page.has("figure.photograph img"));
        nurse.post(&remove, &[("reason", "Consent withdrawn again")]).await.expect(409);
    }

    async fn nobody_sees_the_photographs_of_others(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 100);
        send(&nurse, &held, &WRITTEN, &encoded(&sample(), ImageFormat::Jpeg)).await.expect(303);
        let list = format!("/patients/{}/photographs", held.id);
        let page = nurse.get(&list).await;
        let src = page.attributes("figure.photograph img", "src").remove(0);
        let remove = page.attributes("figure.photograph form", "action").remove(0);
        let elsewhere = app.add_service("Another service");
        let other = app.as_roles(elsewhere, &[Role::Nurse, Role::Lead]);
        other.get(&list).await.expect(404);
        other.get(&src).await.expect(404);
        other.post(&remove, &[("reason", "Not theirs to remove")]).await.expect(409);
        nurse.get(&src).await.expect(200);
        // Clerk and auditor see no clinical picture; under another patient's address it is not found either.
        for role in [Role::Clerk, Role::Auditor] {
            app.as_role(role).get(&src).await.expect(403);
        }
        let second = app.db_patient("Larkspur", "Owen", "999 000 0050", 50);
        nurse.get(&src.replace(&held.id.to_string(), &second.id.to_string())).await.expect(404);
        // The assistant may look and not add.
        let assistant = app.as_role(Role::Assistant);
        assert!(!assistant.get(&list).await.expect(200).has("input[type=file]"));
        send(&assistant, &held, &WRITTEN, &encoded(&sample(), ImageFormat::Jpeg)).await.expect(403);
    }
}
