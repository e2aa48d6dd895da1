"""Papers: the lot dossier as PDF. No arithmetic of the trade; the works gathers, this sets."""
