using FluentValidation;
using RehabRecords.Notes;
using RehabRecords.Trade;

namespace RehabRecords.Letters;

/// <summary>Letters to the team that takes over; read, edited and signed as notes.</summary>
public static class LetterEndpoints
{
    public static void AddLetters(this IServiceCollection services)
    {
        services.AddScoped<WriteLetter>();
        services.AddScoped(s => NoteKind.TransferLetter with { DraftAnew = s.GetRequiredService<WriteLetter>().AnewAsync });
        services.AddSingleton<IValidator<LetterRequest>, LetterRequestRules>();
    }

    public static void MapLetters(this IEndpointRouteBuilder routes) =>
        routes.MapPost("/api/letters", (Posted<LetterRequest> posted, WriteLetter write, CancellationToken ct) => write.RunAsync(posted, ct)).WithTags("Letters")
            .Answers<NoteView>(StatusCodes.Status201Created).WithExample("letter")
            .WithSummary("Draft a transfer letter")
            .WithDescription("A letter to the team that takes over: who, why and what is asked as the clinician states it; the person, risks, course, measures, practice and programme as the record has them. "
                + "It is a note of its own kind: read, edited, signed and printed under /api/notes/{id}. Nothing ends by it and nothing is sent; the programme itself is handed over by GET /api/programmes/{id}/exchange.");
}
