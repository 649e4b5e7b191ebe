using RehabRecords.Commands;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;

ExpressionLimits.Apply();
if (args is ["build-definitions", ..])
    return PackBuilder.Run(args, Console.Error);

return await Start.RunAsync(args, static settings =>
{
    var builder = WebApplication.CreateBuilder(settings);
    var app = builder.Build();
    return app;
});
