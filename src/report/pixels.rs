//! Packs the pixels of a picture. Few colours are in one, so that a palette halves the file.
use std::collections::HashMap;

use png::{BitDepth, ColorType, Compression, Encoder};

use super::picture::PictureError;

/// Colours of a palette.
const MOST: usize = 256;

/// As a PNG of a size with words in it: a palette where the colours fit into one, after the soft edges
/// of letters have lost their last bits where they must.
pub(super) fn packed(
    pixels: &[u8],
    (width, height): (u32, u32),
    words: [(&str, String); 2],
) -> Result<Vec<u8>, PictureError> {
    let mut out = vec![];
    let mut encoder = Encoder::new(&mut out, width, height);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_compression(Compression::High);
    for (name, words) in words {
        encoder.add_itxt_chunk(name.into(), words)?;
    }
    let found = indexed(pixels, 0xff).or_else(|| indexed(pixels, 0xf8));
    let data = match &found {
        Some((palette, places)) => {
            encoder.set_color(ColorType::Indexed);
            encoder.set_palette(palette.clone());
            places.as_slice()
        }
        None => {
            encoder.set_color(ColorType::Rgb);
            pixels
        }
    };
    let mut writer = encoder.write_header()?;
    writer.write_image_data(data)?;
    writer.finish()?;
    Ok(out)
}

/// The palette, and each pixel's place in it; none where there are more colours than fit. `kept` are
/// the bits of a channel that count.
fn indexed(pixels: &[u8], kept: u8) -> Option<(Vec<u8>, Vec<u8>)> {
    let (mut palette, mut places) = (vec![], Vec::with_capacity(pixels.len() / 3));
    let mut known: HashMap<[u8; 3], u8> = HashMap::new();
    let mut last = None;
    for pixel in pixels.as_chunks::<3>().0 {
        // The ends stay what they are: full and none.
        let colour = pixel.map(|v| if v == 0xff { v } else { v & kept });
        let place = match last {
            Some((same, place)) if same == colour => place,
            _ => match known.get(&colour) {
                Some(place) => *place,
                None if known.len() == MOST => return None,
                None => {
                    let place = known.len() as u8;
                    known.insert(colour, place);
                    palette.extend(colour);
                    place
                }
            },
        };
        last = Some((colour, place));
        places.push(place);
    }
    Some((palette, places))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unpacked(bytes: &[u8]) -> Vec<u8> {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut pixels).unwrap();
        pixels
    }

    /// Few colours come back as they were, some more with their first five bits, and very many as
    /// they were again.
    #[test]
    fn colours_come_back() {
        let words = || [("Title", String::new()), ("Description", String::new())];
        let few: Vec<u8> = (0..=255u8).flat_map(|v| [v, v / 2, 255 - v]).collect();
        assert_eq!(unpacked(&packed(&few, (16, 16), words()).unwrap()), few);
        let some: Vec<u8> = (0..512u32)
            .flat_map(|v| [(v / 2) as u8, (v / 2) as u8, 128 + (v % 2) as u8])
            .collect();
        let back = unpacked(&packed(&some, (32, 16), words()).unwrap());
        assert!(some.iter().zip(&back).all(|(a, b)| a.abs_diff(*b) < 8));
        let many: Vec<u8> = (0..4_096u32)
            .flat_map(|v| {
                [
                    (v % 16 * 16) as u8,
                    (v / 16 % 16 * 16) as u8,
                    (v / 256 * 16) as u8,
                ]
            })
            .collect();
        assert_eq!(unpacked(&packed(&many, (64, 64), words()).unwrap()), many);
    }
}
