"""From plain blocks to files: HTML, Word, PDF, workbook and what comes along."""
