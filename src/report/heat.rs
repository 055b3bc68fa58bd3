//! Heights of lines as shades of grey: dark is high.
use png::{BitDepth, ColorType, Compression, Encoder, EncodingError};

use super::column::Column;
use super::palette::{Theme, shade};

/// Shades, from none to full; 16 of them take half a byte each.
const SHADES: u8 = 16;
/// Height, in units of 10 dB, up to which all is paper.
const WHITE: f32 = 0.3;
/// The same from which on all is full ink.
pub(super) const BLACK: f32 = 2.4;

/// An image of heights.
pub(super) struct Heat {
    width: usize,
    height: usize,
    /// From the upper left, row by row, 0 to `SHADES` - 1.
    shades: Vec<u8>,
}

impl Heat {
    /// Of the first `rows` rows of each cell, the first at the bottom.
    pub(super) fn of<'a, I: Iterator<Item = f32> + 'a>(
        cells: &'a [Column],
        rows: usize,
        heights: impl Fn(&'a Column) -> I,
    ) -> Heat {
        let width = cells.len();
        let mut shades = vec![0; width * rows];
        for (x, cell) in cells.iter().enumerate() {
            for (row, height) in heights(cell).take(rows).enumerate() {
                let share = ((height - WHITE) / (BLACK - WHITE)).clamp(0.0, 1.0);
                shades[(rows - 1 - row) * width + x] =
                    (share * f32::from(SHADES - 1)).round() as u8;
            }
        }
        Heat {
            width,
            height: rows,
            shades,
        }
    }

    /// As a PNG.
    pub(super) fn png(&self, theme: Theme) -> Result<Vec<u8>, EncodingError> {
        let mut out = vec![];
        let mut encoder = Encoder::new(&mut out, self.width as u32, self.height as u32);
        encoder.set_color(ColorType::Indexed);
        encoder.set_depth(BitDepth::Four);
        encoder.set_compression(Compression::High);
        let palette: Vec<u8> = (0..SHADES)
            .flat_map(|at| shade(at, SHADES - 1, theme))
            .collect();
        encoder.set_palette(palette);
        let mut data = Vec::with_capacity(self.width.div_ceil(2) * self.height);
        for row in self.shades.chunks(self.width.max(1)) {
            data.extend(
                row.chunks(2)
                    .map(|pair| pair[0] << 4 | pair.get(1).copied().unwrap_or(0)),
            );
        }
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&data)?;
        writer.finish()?;
        Ok(out)
    }

    /// Into a buffer of three bytes a pixel, `stride` pixels a row, stretched over a rectangle.
    pub(super) fn paint(
        &self,
        buffer: &mut [u8],
        stride: usize,
        (left, top): (usize, usize),
        (right, bottom): (usize, usize),
        theme: Theme,
    ) {
        if self.shades.is_empty() {
            return;
        }
        let place = |at: usize, of: usize, count: usize| (2 * at + 1) * count / (2 * of.max(1));
        for y in top..bottom {
            let row = place(y - top, bottom - top, self.height) * self.width;
            for x in left..right {
                let at = row + place(x - left, right - left, self.width);
                let pixel = 3 * (y * stride + x);
                if let Some(pixel) = buffer.get_mut(pixel..pixel + 3) {
                    pixel.copy_from_slice(&shade(self.shades[at], SHADES - 1, theme));
                }
            }
        }
    }
}
