"""What castq hands out: report, figures, tables, documents."""
