//! What photos that claim or unpack too much may take: words and bounded memory. Memory is looked at while the command runs (the
//! high-water mark that Linux keeps of a process); elsewhere these tests say that they were skipped.

use crate::visits::{Folder, headers};
use std::process::Stdio;

/// Runs the command; its exit code, what it said, and the most memory it had, MB.
fn measured(folder: &Folder, words: &[&str]) -> (i32, String, Option<u64>) {
    let said = folder.root().join("said.txt");
    let file = std::fs::File::create(&said).unwrap();
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_hoofgeo"))
        .current_dir(folder.root())
        .args(words)
        .env("RAYON_NUM_THREADS", "1")
        .stdout(Stdio::from(file.try_clone().unwrap()))
        .stderr(Stdio::from(file))
        .spawn()
        .unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut most = None;
    let code = loop {
        let kilobytes = std::fs::read_to_string(&status).ok().and_then(|text| {
            let line = text.lines().find(|l| l.starts_with("VmHWM:"))?;
            line.split_whitespace().nth(1)?.parse::<u64>().ok()
        });
        most = most.max(kilobytes);
        if let Some(ended) = child.try_wait().unwrap() {
            break ended.code().unwrap();
        }
        std::thread::sleep(std::time::Duration::from_millis(1));
    };
    if most.is_none() {
        #[allow(clippy::print_stderr, reason = "says that a part of the test was skipped")]
        {
            eprintln!("memory is not looked at: no /proc on this system");
        }
    }
    (code, std::fs::read_to_string(said).unwrap(), most.map(|k| k / 1000))
}

/// Bits, the first in the lowest place (RFC 1951, 3.1.1).
#[derive(Default)]
struct Bits(Vec<u8>, usize);

impl Bits {
    fn put(&mut self, bits: &str) {
        for bit in bits.bytes() {
            if self.1.is_multiple_of(8) {
                self.0.push(0);
            }
            *self.0.last_mut().unwrap() |= (bit - b'0') << (self.1 % 8);
            self.1 += 1;
        }
    }
}

/// So many zeros as a zlib stream (RFC 1950, 1951): one block of fixed codes, a zero and runs of 258.
fn zeros(n: usize) -> Vec<u8> {
    let mut bits = Bits(vec![0x78, 0x01], 0);
    bits.put("110"); // the last block, fixed codes
    bits.put("00110000"); // the literal 0
    for _ in 0..(n - 1) / 258 {
        bits.put("1100010100000"); // length 258, distance 1
    }
    for _ in 0..(n - 1) % 258 {
        bits.put("00110000");
    }
    bits.put("0000000");
    let mut bytes = bits.0;
    bytes.extend(((((n % 65_521) as u32) << 16) | 1).to_be_bytes());
    bytes
}

fn chunk(out: &mut Vec<u8>, kind: &[u8; 4], data: &[u8]) {
    out.extend((data.len() as u32).to_be_bytes());
    let from = out.len();
    out.extend(kind);
    out.extend(data);
    // CRC-32 (ISO 3309), as PNG has it.
    let crc = out[from..].iter().fold(u32::MAX, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |c, _| if c & 1 == 1 { c >> 1 ^ 0xedb8_8320 } else { c >> 1 })
    });
    out.extend((!crc).to_be_bytes());
}

/// A black PNG with this bit depth and colour type, and more chunks before its pixels.
fn png((width, height): (u32, u32), depth: u8, colour: u8, interlaced: bool, more: &[(&[u8; 4], Vec<u8>)]) -> Vec<u8> {
    let samples = [1, 0, 3, 1, 2, 0, 4][usize::from(colour)];
    let row = 1 + width as usize * samples * usize::from(depth) / 8;
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    let size = [width.to_be_bytes(), height.to_be_bytes()].concat();
    chunk(&mut out, b"IHDR", &[&size[..], &[depth, colour, 0, 0, u8::from(interlaced)]].concat());
    for (kind, data) in more {
        chunk(&mut out, kind, data);
    }
    // The rows of an interlaced picture have a byte more here and there: some zeros too many do no harm.
    let spare = if interlaced { 4 * height as usize } else { 0 };
    chunk(&mut out, b"IDAT", &zeros(row * height as usize + spare));
    chunk(&mut out, b"IEND", &[]);
    out
}

/// The photo alone in a visit, checked with its pixels.
fn check(name: &str, photo: &[u8]) -> (i32, String, Option<u64>) {
    let folder = Folder::new();
    folder.write(name, photo);
    measured(&folder, &["check", "visit"])
}

#[test]
fn sixteen_bits_and_transparency_take_no_memory_for_a_whole_picture() {
    // 50 megapixels, 400 MB as they are stored.
    let (_, said, most) = check("deep.png", &png((8000, 6250), 16, 6, false, &[]));
    assert!(said.contains("deep.png") && !said.contains("decod"), "{said}");
    assert!(most.is_none_or(|mb| mb <= 500), "{most:?} MB");
    let (_, said, most) = check("interlaced.png", &png((4000, 3000), 16, 6, true, &[]));
    assert!(said.contains("interlaced.png") && !said.contains("decod"), "{said}");
    // 96 MB as they are stored; as 8-bit colour they are 36, and the check takes some more.
    assert!(most.is_none_or(|mb| mb <= 200), "{most:?} MB");
}

#[test]
fn what_is_packed_beside_the_pixels_is_not_unpacked() {
    let bomb = || [b"icc\0\0".as_slice(), &zeros(300 << 20)].concat();
    for (name, more) in [
        ("profile.png", vec![(b"iCCP", bomb())]),
        ("text.png", vec![(b"zTXt", bomb()), (b"zTXt", bomb())]),
        ("unknown.png", vec![(b"abCd", vec![0; 40 << 20])]),
    ] {
        let (_, said, most) = check(name, &png((64, 48), 8, 2, false, &more));
        assert!(said.contains(name) && !said.contains("decod"), "{said}");
        assert!(most.is_none_or(|mb| mb <= 150), "{name}: {most:?} MB");
    }
}

#[test]
fn a_tiny_jpeg_that_claims_a_hundred_megapixels_is_cut_off() {
    let folder = Folder::new();
    folder.write("claims.jpg", headers::claims(10_000, 10_000));
    let (code, said, most) = measured(&folder, &["ruler", "visit/claims.jpg"]);
    assert!(code == 2 && said.contains("cut off"), "{said}");
    assert!(most.is_none_or(|mb| mb <= 60), "{most:?} MB");
}

/// A progressive JPEG whose last scan comes again and again.
fn scans(n: usize) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, 80);
    encoder.set_progressive(true);
    encoder.encode(&vec![128; 640 * 480], 640, 480, jpeg_encoder::ColorType::Luma).unwrap();
    let last = bytes.windows(2).rposition(|w| w == [0xff, 0xda]).unwrap();
    let scan = bytes[last..bytes.len() - 2].to_vec();
    let end = bytes.split_off(bytes.len() - 2);
    (0..n).for_each(|_| bytes.extend(&scan));
    bytes.extend(end);
    bytes
}

#[test]
fn a_jpeg_of_hundreds_of_scans_is_refused() {
    let folder = Folder::new();
    folder.write("few.jpg", scans(5));
    folder.write("many.jpg", scans(70));
    let few = folder.run("ruler visit/few.jpg").ends(2);
    assert!(!few.err().contains("scans"), "{}", few.err());
    let many = folder.run("ruler visit/many.jpg").ends(2);
    assert!(many.err().contains("scans of 0.3 megapixels"), "{}", many.err());
}

#[test]
fn more_than_a_decoder_may_take_is_refused_with_words() {
    let folder = Folder::new();
    // A side that no JPEG has: one row of it would be the whole picture.
    folder.write("row.png", png((3_000_000, 1), 8, 2, false, &[]));
    let said = folder.run("ruler visit/row.png").ends(2);
    assert!(said.err().contains("a side longer than 65535 px"), "{}", said.err());
}

/// README's table says what the library holds.
#[test]
fn the_limits_are_in_the_readme() {
    use hoofgeo::photo::{MAX_MEGAPIXELS, MAX_SCANS, MAX_SIDE_PX, max_decode_bytes};
    let readme = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../README.md")).unwrap();
    let (_, limits) = readme.split_once("### Limits").expect("a section of that name");
    for number in [
        format!("{MAX_MEGAPIXELS} megapixels"),
        format!("{MAX_SIDE_PX} px"),
        format!("{MAX_SCANS} scans"),
        format!("{} MB", max_decode_bytes(50_000_000) / 1_000_000),
    ] {
        assert!(limits.contains(&number), "{number}");
    }
}
