//! The trend of a year: in words, and as one picture in black and white.

use std::fmt::Write as _;
use std::io::Write as _;

use embedded_graphics::framebuffer::{Framebuffer, buffer_size};
use embedded_graphics::mono_font::MonoTextStyle;
use embedded_graphics::mono_font::ascii::FONT_8X13;
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::pixelcolor::raw::{BigEndian, RawU1};
use embedded_graphics::prelude::{DrawTarget, Drawable, Point, Primitive, Size};
use embedded_graphics::primitives::{Circle, Line, PrimitiveStyle, Rectangle, Triangle};
use embedded_graphics::text::{Alignment, Baseline, Text, TextStyleBuilder};
use flate2::Compression;
use flate2::write::ZlibEncoder;

use crate::audit::outcome::HistoryRow;

/// Pixels of the picture. A row of pixels is a whole number of bytes.
const WIDTH: usize = 640;
const HEIGHT: usize = 260;
const BYTES: usize = buffer_size::<BinaryColor>(WIDTH, HEIGHT);
/// The frame of the curves.
const LEFT: i32 = 44;
const TOP: i32 = 14;
const RIGHT: i32 = 626;
const BOTTOM: i32 = 196;
/// Parts of the vertical axis.
const PARTS: u64 = 4;
/// Pixels of a letter.
const LETTER: i32 = 8;

const INK: BinaryColor = BinaryColor::Off;
const PAPER: BinaryColor = BinaryColor::On;

type Canvas = Framebuffer<BinaryColor, RawU1, BigEndian, WIDTH, HEIGHT, BYTES>;

/// A curve of the picture, told from the others by its line and its marks.
struct Curve {
    name: &'static str,
    get: fn(&HistoryRow) -> u64,
    /// Drawn and left out along the line, in pixels.
    dash: (i32, i32),
    mark: Mark,
}

#[derive(Clone, Copy)]
enum Mark {
    Square,
    Circle,
    Triangle,
}

static CURVES: [Curve; 3] = [
    Curve { name: "majors", get: |run| run.majors, dash: (1, 0), mark: Mark::Square },
    Curve { name: "circuits that do not conform", get: HistoryRow::not_conforming, dash: (7, 4), mark: Mark::Circle },
    Curve { name: "not assessed", get: |run| run.not_assessed, dash: (2, 4), mark: Mark::Triangle },
];

/// `Trend since 2025-12-03 (12 runs, planned circuits too): majors 70 to 56, ...`; `None` where there are no two runs.
#[must_use]
pub fn in_words(history: &[HistoryRow]) -> Option<String> {
    let [first, .., last] = history else { return None };
    let mut text = format!("Trend since {} ({} runs, planned circuits too): ", first.date, history.len());
    for (index, curve) in CURVES.iter().enumerate() {
        let stop = if index == 0 { "" } else { ", " };
        let _ = write!(text, "{stop}{} {} to {}", curve.name, (curve.get)(first), (curve.get)(last));
    }
    if let (Some(first), Some(last)) = (first.unsafe_in_service, last.unsafe_in_service) {
        let _ = write!(text, ", unsafe in service {first} to {last}");
    }
    text.push('.');
    Some(text)
}

/// The picture as a PNG of one bit a pixel; `None` where there are no two runs.
#[must_use]
pub fn picture(history: &[HistoryRow]) -> Option<Vec<u8>> {
    let [_, .., _] = history else { return None };
    let mut canvas = Canvas::new();
    drawn(&mut canvas, history).ok()?;
    png(canvas.data()).ok()
}

type Drawn = Result<(), <Canvas as DrawTarget>::Error>;

fn drawn(canvas: &mut Canvas, history: &[HistoryRow]) -> Drawn {
    canvas.clear(PAPER)?;
    let highest = history.iter().flat_map(|run| CURVES.iter().map(|curve| (curve.get)(run))).max().unwrap_or(0);
    let step = step(highest);
    let top = step * PARTS;
    axes(canvas, history, step)?;
    let at = |index: usize, value: u64| Point::new(across(index, history.len()), up(value, top));
    for (number, curve) in (0_i32..).zip(&CURVES) {
        let points: Vec<Point> = history.iter().enumerate().map(|(index, run)| at(index, (curve.get)(run))).collect();
        for pair in points.windows(2) {
            if let [from, to] = pair {
                dashed(canvas, *from, *to, curve.dash)?;
            }
        }
        points.iter().try_for_each(|point| marked(canvas, *point, curve.mark))?;
        legend(canvas, number, curve)?;
    }
    Ok(())
}

/// A round number of which four reach above the highest value.
fn step(highest: u64) -> u64 {
    let mut scale = 1;
    loop {
        for round in [1, 2, 5] {
            if round * scale * PARTS >= highest {
                return round * scale;
            }
        }
        scale *= 10;
    }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "within the picture")]
fn across(index: usize, count: usize) -> i32 {
    let inner = f64::from(RIGHT - LEFT - 24);
    LEFT + 12 + (inner * index as f64 / (count - 1).max(1) as f64).round() as i32
}

#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "within the picture")]
fn up(value: u64, top: u64) -> i32 {
    BOTTOM - (f64::from(BOTTOM - TOP) * value as f64 / top as f64).round() as i32
}

fn axes(canvas: &mut Canvas, history: &[HistoryRow], step: u64) -> Drawn {
    let thin = PrimitiveStyle::with_stroke(INK, 1);
    Line::new(Point::new(LEFT, TOP), Point::new(LEFT, BOTTOM)).into_styled(thin).draw(canvas)?;
    Line::new(Point::new(LEFT, BOTTOM), Point::new(RIGHT, BOTTOM)).into_styled(thin).draw(canvas)?;
    for part in 0..=PARTS {
        let y = up(part * step, step * PARTS);
        Line::new(Point::new(LEFT - 4, y), Point::new(LEFT, y)).into_styled(thin).draw(canvas)?;
        written(canvas, &(part * step).to_string(), Point::new(LEFT - 8, y), Alignment::Right)?;
    }
    // No more months than find room side by side.
    let every = history.len().div_ceil(8).max(1);
    for (index, run) in history.iter().enumerate() {
        let x = across(index, history.len());
        Line::new(Point::new(x, BOTTOM), Point::new(x, BOTTOM + 4)).into_styled(thin).draw(canvas)?;
        if index % every == 0 {
            let month = run.date.get(..7).unwrap_or(&run.date);
            written(canvas, month, Point::new(x, BOTTOM + 14), Alignment::Center)?;
        }
    }
    Ok(())
}

fn written(canvas: &mut Canvas, text: &str, at: Point, alignment: Alignment) -> Drawn {
    let style = TextStyleBuilder::new().alignment(alignment).baseline(Baseline::Middle).build();
    Text::with_text_style(text, at, MonoTextStyle::new(&FONT_8X13, INK), style).draw(canvas)?;
    Ok(())
}

fn legend(canvas: &mut Canvas, number: i32, curve: &Curve) -> Drawn {
    let before: usize = CURVES.iter().take(usize::try_from(number).unwrap_or(0)).map(|curve| curve.name.len()).sum();
    let left = LEFT + number * 66 + i32::try_from(before).unwrap_or(0) * LETTER;
    let y = BOTTOM + 44;
    let (from, to) = (Point::new(left, y), Point::new(left + 40, y));
    dashed(canvas, from, to, curve.dash)?;
    marked(canvas, Point::new(left + 20, y), curve.mark)?;
    written(canvas, curve.name, Point::new(left + 46, y), Alignment::Left)
}

/// A line of two pixels in dashes.
#[allow(clippy::cast_possible_truncation, reason = "within the picture")]
fn dashed(canvas: &mut Canvas, from: Point, to: Point, (on, off): (i32, i32)) -> Drawn {
    let stroke = PrimitiveStyle::with_stroke(INK, 2);
    if off == 0 {
        return Line::new(from, to).into_styled(stroke).draw(canvas);
    }
    let whole = to - from;
    let length = f64::from(whole.x).hypot(f64::from(whole.y));
    let on_the_way = |way: f64| {
        let share = (way / length.max(1.0)).min(1.0);
        let part = |whole: i32| (f64::from(whole) * share).round() as i32;
        from + Point::new(part(whole.x), part(whole.y))
    };
    let mut way = 0.0;
    while way < length {
        Line::new(on_the_way(way), on_the_way(way + f64::from(on))).into_styled(stroke).draw(canvas)?;
        way += f64::from(on + off);
    }
    Ok(())
}

/// A mark, white inside.
fn marked(canvas: &mut Canvas, at: Point, mark: Mark) -> Drawn {
    let mut style = PrimitiveStyle::with_fill(PAPER);
    style.stroke_color = Some(INK);
    style.stroke_width = 1;
    match mark {
        Mark::Square => Rectangle::new(at - Point::new(3, 3), Size::new(7, 7)).into_styled(style).draw(canvas),
        Mark::Circle => Circle::new(at - Point::new(4, 4), 9).into_styled(style).draw(canvas),
        Mark::Triangle => Triangle::new(at + Point::new(0, -5), at + Point::new(-5, 4), at + Point::new(5, 4))
            .into_styled(style)
            .draw(canvas),
    }
}

/// The pixels as a PNG (RFC 2083): grey of one bit, each row after a byte that says it is not filtered.
fn png(pixels: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
    let size = |number: usize| u32::try_from(number).unwrap_or(u32::MAX).to_be_bytes();
    let mut head = [size(WIDTH), size(HEIGHT)].concat();
    head.extend([1, 0, 0, 0, 0]);
    chunk(&mut file, *b"IHDR", &head);
    let mut packed = ZlibEncoder::new(Vec::new(), Compression::best());
    for row in pixels.chunks(WIDTH / 8) {
        packed.write_all(&[0])?;
        packed.write_all(row)?;
    }
    chunk(&mut file, *b"IDAT", &packed.finish()?);
    chunk(&mut file, *b"IEND", &[]);
    Ok(file)
}

fn chunk(file: &mut Vec<u8>, kind: [u8; 4], data: &[u8]) {
    file.extend(u32::try_from(data.len()).unwrap_or(u32::MAX).to_be_bytes());
    file.extend(kind);
    file.extend(data);
    let mut sum = crc32fast::Hasher::new();
    sum.update(&kind);
    sum.update(data);
    file.extend(sum.finalize().to_be_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_round_steps_reach_above_the_highest() {
        for (highest, expected) in [(0, 1), (4, 1), (5, 2), (8, 2), (9, 5), (20, 5), (21, 10), (70, 20), (401, 200)] {
            assert_eq!(step(highest), expected, "{highest}");
        }
    }

    #[test]
    fn one_run_is_no_trend() {
        let run = HistoryRow { date: "2026-11-03".to_owned(), ..HistoryRow::default() };
        assert_eq!(in_words(std::slice::from_ref(&run)), None);
        assert_eq!(picture(std::slice::from_ref(&run)), None);
        assert!(picture(&[run.clone(), run]).is_some());
    }
}
