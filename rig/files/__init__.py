"""Values on disk: traces, metadata, certificates, promised documents. No thread, no Qt."""
