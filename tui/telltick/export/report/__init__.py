"""The report: what a service desk reads, as one page that needs nothing but itself."""
