//! A picture as PNG: eight bits a colour, not interlaced, no row filtered (W3C, Portable Network Graphics, third edition).

use std::io::{self, Write};

use flate2::write::ZlibEncoder;
use flate2::{Compression, Crc};

/// Each square of so many dots a side as one pixel: the mean of their colours.
pub(super) fn averaged(dots: &[u8], wide: usize, side: usize) -> Vec<u8> {
    let row = 3 * wide;
    let mut out = Vec::with_capacity(dots.len() / (side * side));
    for rows in dots.chunks_exact(side * row) {
        for at in 0..wide / side {
            for colour in 0..3 {
                let first = 3 * side * at + colour;
                let all = rows
                    .chunks_exact(row)
                    .flat_map(|row| row[first..].iter().step_by(3).take(side));
                let sum: usize = all.map(|one| usize::from(*one)).sum();
                out.push(u8::try_from(sum / (side * side)).unwrap_or(u8::MAX));
            }
        }
    }
    out
}

/// The bytes of a file.
pub(super) fn written(pixels: &[u8], (wide, high): (u32, u32)) -> io::Result<Vec<u8>> {
    let mut packed = ZlibEncoder::new(Vec::new(), Compression::best());
    for row in pixels.chunks(3 * wide as usize) {
        packed.write_all(&[0])?;
        packed.write_all(row)?;
    }
    let mut head = [wide.to_be_bytes(), high.to_be_bytes()].concat();
    // Eight bits, red green blue, and the only ways to pack, to filter and not to interlace.
    head.extend([8, 2, 0, 0, 0]);
    let mut out = Vec::from(*b"\x89PNG\r\n\x1a\n");
    for (name, data) in [
        (b"IHDR", head),
        (b"IDAT", packed.finish()?),
        (b"IEND", vec![]),
    ] {
        let length = u32::try_from(data.len()).map_err(io::Error::other)?;
        let mut check = Crc::new();
        check.update(name);
        check.update(&data);
        out.extend(length.to_be_bytes());
        out.extend(name);
        out.extend(data);
        out.extend(check.sum().to_be_bytes());
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pixel_is_the_mean_of_its_dots() {
        let dots = [0, 0, 0, 8, 4, 0, 4, 4, 4, 0, 0, 0];
        assert_eq!(averaged(&dots, 2, 2), [3, 2, 1]);
    }

    // CRC-32 of the name IEND alone, as every PNG ends.
    #[test]
    fn a_file_begins_and_ends_as_a_png_does() {
        let file = written(&[1, 2, 3], (1, 1)).unwrap();
        assert_eq!(file[..8], *b"\x89PNG\r\n\x1a\n");
        assert_eq!(
            file[file.len() - 8..],
            [b'I', b'E', b'N', b'D', 0xae, 0x42, 0x60, 0x82]
        );
    }
}
