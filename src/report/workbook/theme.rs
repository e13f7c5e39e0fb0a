//! A theme of black and white only.
//!
//! Without one the file carries the default theme with its accent colours, which a reader's
//! program would offer for new charts and shapes.

use std::io::Write;

use rust_xlsxwriter::Workbook;

use super::WorkbookError;

const HEAD: &str = r#"<?xml version="1.0" encoding="UTF-8" standalone="yes"?>
<a:theme xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main" name="Black on white"><a:themeElements><a:clrScheme name="Black on white"><a:dk1><a:sysClr val="windowText" lastClr="000000"/></a:dk1><a:lt1><a:sysClr val="window" lastClr="FFFFFF"/></a:lt1><a:dk2><a:srgbClr val="000000"/></a:dk2><a:lt2><a:srgbClr val="FFFFFF"/></a:lt2>"#;

const TAIL: &str = r#"</a:clrScheme><a:fontScheme name="Black on white"><a:majorFont><a:latin typeface="Arial"/><a:ea typeface=""/><a:cs typeface=""/></a:majorFont><a:minorFont><a:latin typeface="Arial"/><a:ea typeface=""/><a:cs typeface=""/></a:minorFont></a:fontScheme><a:fmtScheme name="Black on white"><a:fillStyleLst><a:noFill/><a:noFill/><a:noFill/></a:fillStyleLst><a:lnStyleLst><a:ln w="9525"><a:solidFill><a:schemeClr val="phClr"/></a:solidFill></a:ln><a:ln w="9525"><a:solidFill><a:schemeClr val="phClr"/></a:solidFill></a:ln><a:ln w="9525"><a:solidFill><a:schemeClr val="phClr"/></a:solidFill></a:ln></a:lnStyleLst><a:effectStyleLst><a:effectStyle><a:effectLst/></a:effectStyle><a:effectStyle><a:effectLst/></a:effectStyle><a:effectStyle><a:effectLst/></a:effectStyle></a:effectStyleLst><a:bgFillStyleLst><a:noFill/><a:noFill/><a:noFill/></a:bgFillStyleLst></a:fmtScheme></a:themeElements><a:objectDefaults/><a:extraClrSchemeLst/></a:theme>"#;

/// Gives the workbook the theme.
///
/// # Errors
///
/// The library takes a theme from a file only, so a temporary one is written.
pub fn apply(workbook: &mut Workbook) -> Result<(), WorkbookError> {
    let mut file = tempfile::Builder::new().suffix(".xml").tempfile()?;
    file.write_all(theme_xml().as_bytes())?;
    file.flush()?;
    workbook.use_custom_theme(file.path())?;
    Ok(())
}

fn theme_xml() -> String {
    let accents = ["accent1", "accent2", "accent3", "accent4", "accent5", "accent6", "hlink", "folHlink"];
    let black = |name: &str| format!(r#"<a:{name}><a:srgbClr val="000000"/></a:{name}>"#);
    format!("{HEAD}{}{TAIL}", accents.map(black).concat())
}
